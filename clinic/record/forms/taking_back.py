"""Why an entry is taken back or corrected, and which version of it was read."""

from __future__ import annotations

from django import forms

__all__ = ["TakeBackForm"]


class TakeBackForm(forms.Form):
    reason = forms.CharField(
        label="Why it is taken back", max_length=100, widget=forms.Textarea(attrs={"rows": 2})
    )
    version = forms.IntegerField(widget=forms.HiddenInput)
