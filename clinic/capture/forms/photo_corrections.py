"""Correcting what is written beside a photo."""

from __future__ import annotations

from django import forms

from clinic.record.forms.dates import DayField

__all__ = ["PhotoCorrectionForm"]


class PhotoCorrectionForm(forms.Form):
    taken_on = DayField(label="Taken on")
    note = forms.CharField(label="Note", required=False, max_length=200)
    reason = forms.CharField(label="Why it is corrected", max_length=100)
    version = forms.IntegerField(widget=forms.HiddenInput)
