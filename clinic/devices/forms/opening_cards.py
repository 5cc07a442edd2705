"""The two days of an opening card."""

from django import forms

from clinic.record.forms.dates import DayField


class CardForm(forms.Form):
    sealed_on = DayField(label="Fitted and sealed on")
    open_by = DayField(label="Must be opened by")
