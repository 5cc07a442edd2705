"""Photos and the consent to take them."""

from django import forms
from django.utils import timezone

from .dates import DayField


class ConsentForm(forms.Form):
    on = DayField(label="Date")

    def clean_on(self):
        day = self.cleaned_data["on"]
        if day > timezone.localdate():
            raise forms.ValidationError("Date: cannot lie in the future.")
        return day


class PhotoForm(forms.Form):
    photo = forms.FileField(
        label="Photo (JPEG or PNG, at most 15 MB)",
        widget=forms.FileInput(attrs={"accept": "image/jpeg,image/png", "capture": "environment"}),
    )
    taken_on = DayField(label="Taken on")
    note = forms.CharField(label="Note", max_length=200, required=False)

    def clean_taken_on(self):
        day = self.cleaned_data["taken_on"]
        if day > timezone.localdate():
            raise forms.ValidationError("Taken on: cannot lie in the future.")
        return day
