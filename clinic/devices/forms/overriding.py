"""A second signature by telephone, and its confirmation."""

from __future__ import annotations

from django import forms

from clinic.alerts.forms.referrals import PastTimeField

__all__ = ["ConfirmSecondForm", "TelephoneSecondForm"]


class TelephoneSecondForm(forms.Form):
    second_name = forms.CharField(label="Name of the outside clinician", max_length=80)
    second_role = forms.CharField(
        label="Role", max_length=80, help_text="Profession and service, such as vascular surgeon on call."
    )
    second_telephone = forms.CharField(
        label="Number",
        max_length=40,
        widget=forms.TextInput(attrs={"inputmode": "tel", "autocomplete": "off"}),
    )
    spoken_at = PastTimeField(label="Spoken at")
    version = forms.IntegerField(widget=forms.HiddenInput)


class ConfirmSecondForm(forms.Form):
    second_confirmed_how = forms.CharField(
        label="Confirmed how, and of which day",
        max_length=200,
        help_text="Such as: letter of 3 May, in the post folder.",
    )
    version = forms.IntegerField(widget=forms.HiddenInput)
