"""Asking for a look, and answering it: one sentence each."""

from django import forms


class AskForm(forms.Form):
    question = forms.CharField(
        label="Question to the podiatrist", max_length=300, widget=forms.Textarea(attrs={"rows": 2})
    )


class LookAnswerForm(forms.Form):
    answer = forms.CharField(label="Answer", max_length=300, widget=forms.Textarea(attrs={"rows": 2}))
    version = forms.IntegerField(widget=forms.HiddenInput)
