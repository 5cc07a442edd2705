"""Something that happened to a lesion."""

from django import forms
from django.utils import timezone

from clinic.models import EventKind
from clinic.record.forms.dates import DayField

#: Decisions come from the sheet that asks why a lesion is not healing, never from here.
KINDS = [pair for pair in EventKind.choices if pair[0] != EventKind.DECISION]


class EventForm(forms.Form):
    kind = forms.ChoiceField(label="What happened", choices=KINDS)
    happened_on = DayField(label="On")
    note = forms.CharField(label="In a few words", max_length=300, required=False)

    def clean_happened_on(self):
        day = self.cleaned_data["happened_on"]
        if day > timezone.localdate():
            raise forms.ValidationError(f"On: {day:%-d %b %Y} lies in the future; an event has happened.")
        return day
