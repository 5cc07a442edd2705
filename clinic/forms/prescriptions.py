"""The prescription page's two forms: what is asked for the advice, and the choice itself; and what follows it."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django import forms
from django.utils import timezone

from clinic.models import DepartureReason, DeviceClass, Lesion, StopReason
from clinic.selectors.facts import ASKED

from .dates import DayField

THREE = [("", "Not known"), ("no", "No"), ("yes", "Yes")]
ANSWERS = {"": None, "no": False, "yes": True}


def _three(label: str) -> forms.ChoiceField:
    return forms.ChoiceField(label=label, choices=THREE, required=False, widget=forms.RadioSelect)


class AnswersForm(forms.Form):
    """Facts the record has no place for. Not known until someone says so."""

    def __init__(self, *args: Any, lesions: Iterable[Lesion], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for lesion in lesions:
            self.fields[f"osteomyelitis_{lesion.pk}"] = _three(
                f"{ASKED['osteomyelitis']}, lesion {lesion.label}"
            )
        for name, label in ASKED.items():
            if name != "osteomyelitis":
                self.fields[name] = _three(label)

    def answers(self) -> dict[str, bool | None]:
        """Answers by fact; anything that is not a clean yes or no is not known."""
        self.is_valid()
        given = getattr(self, "cleaned_data", {})
        return {name: ANSWERS.get(given.get(name, "")) for name in self.fields}


class ChoiceForm(forms.Form):
    device_class = forms.ChoiceField(label="Device", choices=[], widget=forms.RadioSelect)
    departure_reason = forms.ChoiceField(
        label="Why not what the advice puts first",
        choices=[("", "It is what the advice puts first"), *DepartureReason.choices],
        required=False,
    )
    reason = forms.CharField(
        label="Reason in words", widget=forms.Textarea(attrs={"rows": 3}), max_length=2000, min_length=8
    )
    device_label = forms.CharField(label="Maker's label, for tracing only", max_length=80, required=False)
    stop_reason = forms.ChoiceField(
        label="Why the present device stops", choices=[("", "Choose"), *StopReason.choices], required=False
    )
    seen = forms.CharField(widget=forms.HiddenInput)

    def __init__(self, *args: Any, offered: Iterable[str], running: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        ranked = list(offered)
        names = dict(DeviceClass.choices)
        rest = [c for c in names if c not in ranked]
        choice = self.fields["device_class"]
        assert isinstance(choice, forms.ChoiceField)
        choice.choices = [(c, names[c]) for c in ranked] + [(c, f"{names[c]} (not offered)") for c in rest]
        if not running:
            del self.fields["stop_reason"]


class _Dated(forms.Form):
    day_field = ""
    version = forms.IntegerField(widget=forms.HiddenInput)

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        day = data.get(self.day_field)
        if day and day > timezone.localdate():
            self.add_error(
                self.day_field, f"{self.fields[self.day_field].label}: {day:%-d %b %Y} lies in the future."
            )
        return data


class FitForm(_Dated):
    day_field = "fitted_on"
    fitted_on = DayField(label="Fitted on")
    sealed = forms.BooleanField(label="Sealed: the person cannot take it off", required=False)
    open_by = DayField(label="Open by", required=False)


class OpenForm(_Dated):
    day_field = "opened_on"
    opened_on = DayField(label="Opened on")


class StopForm(_Dated):
    day_field = "stopped_on"
    stopped_on = DayField(label="Stopped on")
    stop_reason = forms.ChoiceField(label="Why", choices=StopReason.choices)
