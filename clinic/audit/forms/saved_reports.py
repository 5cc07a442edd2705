"""A report kept for later: its name, form, period and whether it is de-identified."""

from __future__ import annotations

from django import forms

from clinic.models import DEVICE_CHOICES, ReportForm
from clinic.record.forms.numbers import NumberField


class SavedReportForm(forms.Form):
    name = forms.CharField(label="Name", max_length=80)
    form = forms.ChoiceField(label="Form", choices=ReportForm.choices)
    days = NumberField(label="Days back from the day it is run", low=1, high=3660, kind=int, initial=365)
    device_class = forms.ChoiceField(
        label="Device class", required=False, choices=[("", "All"), *DEVICE_CHOICES]
    )
    deidentified = forms.BooleanField(label="De-identified", required=False, initial=True)
