"""Asking another clinic to take a person over, and its answer."""

from __future__ import annotations

from typing import Any

from django import forms

from clinic.models import Person, Site


class TransferForm(forms.Form):
    to_site = forms.ChoiceField(label="To which clinic")
    because = forms.CharField(
        label="Why",
        max_length=300,
        help_text="That clinic reads this.",
        widget=forms.Textarea(attrs={"rows": 2}),
    )

    def __init__(self, *args: Any, person: Person, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self._others = {str(site.pk): site for site in Site.objects.exclude(pk=person.site_id)}
        choices = [("", "Choose"), *((key, site.name) for key, site in self._others.items())]
        self.fields["to_site"].choices = choices  # type: ignore[attr-defined]

    def clean_to_site(self) -> Site:
        return self._others[self.cleaned_data["to_site"]]


class AcceptForm(forms.Form):
    record_number = forms.CharField(
        label="Record number at this clinic",
        max_length=20,
        help_text="The one of the other clinic stands here; change it to yours.",
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )


class DeclineForm(forms.Form):
    note = forms.CharField(
        label="Why not",
        max_length=300,
        help_text="The other clinic reads this.",
        widget=forms.Textarea(attrs={"rows": 2}),
    )


class SendBackForm(forms.Form):
    because = forms.CharField(
        label="Why it is sent back", max_length=300, widget=forms.Textarea(attrs={"rows": 2})
    )
