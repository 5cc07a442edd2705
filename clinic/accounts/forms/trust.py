"""Break-glass, rights of a person, problems with a page."""

from __future__ import annotations

from typing import Any

from django import forms

from clinic.models import ProblemKind, Site, User


class BreakGlassForm(forms.Form):
    site = forms.ChoiceField(label="Clinic that keeps the record")
    record_number = forms.CharField(
        label="Record number there", max_length=20, widget=forms.TextInput(attrs={"autocomplete": "off"})
    )
    birth_date = forms.DateField(
        label="Birth date", widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
    )
    reason = forms.CharField(
        label="Why it cannot wait",
        max_length=300,
        help_text="The managers of that clinic read this, with your name.",
        widget=forms.Textarea(attrs={"rows": 3}),
    )

    def __init__(self, *args: Any, by: User, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self._others = {str(site.pk): site for site in Site.objects.exclude(pk__in=by.site_ids)}
        choices = [("", "Choose"), *((key, site.name) for key, site in self._others.items())]
        self.fields["site"].choices = choices  # type: ignore[attr-defined]

    def clean_site(self) -> Site:
        return self._others[self.cleaned_data["site"]]


class GroundForm(forms.Form):
    ground = forms.CharField(
        label="Legal ground",
        max_length=300,
        help_text="The request and the law it rests on, without the patient's name.",
    )


class EraseForm(GroundForm):
    typed_number = forms.CharField(
        label="Record number of this patient, typed again",
        max_length=20,
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )


class ProblemForm(forms.Form):
    kind = forms.ChoiceField(label="What is wrong", choices=ProblemKind.choices, widget=forms.RadioSelect)
    page = forms.RegexField(regex=r"^[a-z_]{1,60}$", widget=forms.HiddenInput)
    number = forms.RegexField(regex=r"^[0-9a-f]{0,32}$", required=False, widget=forms.HiddenInput)
