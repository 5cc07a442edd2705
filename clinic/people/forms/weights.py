"""Correcting one weight."""

from __future__ import annotations

from django import forms

from clinic.people.forms.people import WeightForm

__all__ = ["WeightCorrectionForm"]


class WeightCorrectionForm(WeightForm):
    reason = forms.CharField(label="Why it is corrected", max_length=100)
    version = forms.IntegerField(widget=forms.HiddenInput)
