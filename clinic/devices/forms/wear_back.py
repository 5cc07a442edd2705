"""Correcting the day a device was opened."""

from __future__ import annotations

from django import forms

from clinic.record.forms.dates import DayField

__all__ = ["OpeningCorrectionForm"]


class OpeningCorrectionForm(forms.Form):
    opened_on = DayField(label="Opened on")
    reason = forms.CharField(label="Why it is corrected", max_length=100)
    version = forms.IntegerField(widget=forms.HiddenInput)
