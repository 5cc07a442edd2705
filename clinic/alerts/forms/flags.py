"""Answering a red flag."""

from django import forms

from clinic.models import FlagAnswer


class FlagAnswerForm(forms.Form):
    answer = forms.ChoiceField(label="What was done", choices=FlagAnswer.choices, widget=forms.RadioSelect)
    answer_note = forms.CharField(
        label="Who was called and who answered, or why it is not a flag",
        max_length=300,
        widget=forms.Textarea(attrs={"rows": 2}),
    )
    version = forms.IntegerField(widget=forms.HiddenInput)
