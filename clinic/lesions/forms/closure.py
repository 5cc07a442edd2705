"""The four ways a lesion's course turns: closed, confirmed, opened again, ended otherwise."""

from django import forms
from django.utils import timezone

from clinic.models import LesionOutcome
from clinic.record.forms.dates import DayField


class _Dated(forms.Form):
    """A form about one lesion with one day that cannot lie ahead."""

    day_field = ""
    version = forms.IntegerField(widget=forms.HiddenInput)

    def clean(self):
        data = super().clean() or {}
        day = data.get(self.day_field)
        if day and day > timezone.localdate():
            label = self.fields[self.day_field].label
            self.add_error(self.day_field, f"{label}: {day:%-d %b %Y} lies in the future.")
        return data


class CloseForm(_Dated):
    day_field = "closed_on"
    closed_on = DayField(label="Covered and dry on")
    device_stays = forms.BooleanField(
        label="The device stays on until healing is confirmed; the person was told"
    )


class ConfirmForm(_Dated):
    day_field = "confirmed_on"
    confirmed_on = DayField(label="Seen again, covered and dry, on")
    footwear = forms.CharField(label="Footwear in use from now on", max_length=160)
    next_on = DayField(label="Next visit in remission")


class ReopenForm(_Dated):
    day_field = "reopened_on"
    reopened_on = DayField(label="Opened again on")


class EndForm(_Dated):
    day_field = "ended_on"
    outcome = forms.ChoiceField(
        label="Outcome",
        choices=[c for c in LesionOutcome.choices if c[0] != LesionOutcome.HEALED],
        widget=forms.RadioSelect,
    )
    ended_on = DayField(label="On")
