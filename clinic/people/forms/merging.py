"""Merging two records, parting them again."""

from django import forms


class MergeForm(forms.Form):
    because = forms.CharField(
        label="How you know that this is one patient",
        max_length=300,
        help_text="For example: asked the patient, same identity card.",
        widget=forms.Textarea(attrs={"rows": 2}),
    )
    mark = forms.RegexField(regex=r"^[0-9a-f]{32}$", widget=forms.HiddenInput)


class UndoForm(forms.Form):
    because = forms.CharField(
        label="Why it is undone", max_length=300, widget=forms.Textarea(attrs={"rows": 2})
    )
