"""An attempt to reach a person."""

from typing import Any

from django import forms

from clinic.models import ContactHow, ContactResult
from clinic.record.forms.dates import DayField


class ContactForm(forms.Form):
    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **{"label_suffix": "", **kwargs})

    how = forms.ChoiceField(label="How", choices=ContactHow.choices, widget=forms.RadioSelect)
    result = forms.ChoiceField(label="Result", choices=ContactResult.choices, widget=forms.RadioSelect)
    note = forms.CharField(
        label="Note", required=False, max_length=300, widget=forms.Textarea(attrs={"rows": 2})
    )
    next_on = DayField(label="Next visit, if agreed", required=False)
