"""Photos and the consent to take them."""

from django import forms
from django.utils import timezone

from clinic.capture.writes.photos import NAMES
from clinic.record.forms.dates import DayField

ACCEPT = "image/jpeg,image/png,image/heic,image/heif"


class ConsentForm(forms.Form):
    on = DayField(label="Date")

    def clean_on(self):
        day = self.cleaned_data["on"]
        if day > timezone.localdate():
            raise forms.ValidationError("Date: cannot lie in the future.")
        return day


class PhotoForm(forms.Form):
    photo = forms.FileField(
        label=f"Photo ({NAMES}; at most 15 MB)",
        widget=forms.FileInput(attrs={"accept": ACCEPT, "capture": "environment"}),
    )
    taken_on = DayField(label="Taken on", required=False)
    own_date = forms.BooleanField(label="Use the date in the picture", required=False)
    note = forms.CharField(label="Note", max_length=200, required=False)

    def clean_taken_on(self):
        day = self.cleaned_data["taken_on"]
        if day is not None and day > timezone.localdate():
            raise forms.ValidationError("Taken on: cannot lie in the future.")
        return day

    def clean(self):
        data = self.cleaned_data
        if data.get("own_date"):
            data["taken_on"] = None
        elif data.get("taken_on") is None and "taken_on" not in self.errors:
            self.add_error("taken_on", "Taken on: missing; type it, or use the date in the picture.")
