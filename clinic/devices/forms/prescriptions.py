"""The prescription page's forms: what is asked for the advice, what is only tried, the choice itself; and
stopping.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django import forms
from django.utils import timezone

from clinic.devices.reads.advice import ToldBefore
from clinic.evidence.reads.facts import ASKED, PER_LESION, WORDS
from clinic.guidelines.facts import CHOICES, GRADES
from clinic.models import DEVICE_CHOICES, Lesion, ReasonKind, Site
from clinic.record.forms.dates import DayField
from clinic.record.forms.entries import last_words
from clinic.rules.reads.reasons import choices_of, reasons_of

THREE = [("", "Not known"), ("no", "No"), ("yes", "Yes")]
ANSWERS = {"": None, "no": False, "yes": True}
UNKNOWN = "unknown"
#: The one fact that is a number; the rules ask whether it lies within six weeks.
SURGERY_WEEKS = [("2", "within six weeks"), ("26", "longer ago")]


def _three(label: str, help_text: str = "") -> forms.ChoiceField:
    return forms.ChoiceField(
        label=label, choices=THREE, required=False, widget=forms.RadioSelect, help_text=help_text
    )


class AnswersForm(forms.Form):
    """Facts the record has no place for. Not known until someone says so."""

    def __init__(self, *args: Any, before: ToldBefore | None = None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name, label in ASKED.items():
            last = ""
            if before is not None and name in before.answers:
                last = last_words(before.words(name), before.on)
            self.fields[name] = _three(label, last)

    def answers(self) -> dict[str, bool | None]:
        """Answers by fact; anything that is not a clean yes or no is not known."""
        self.is_valid()
        given = getattr(self, "cleaned_data", {})
        return {name: ANSWERS.get(given.get(name, "")) for name in self.fields}


def _values(name: str) -> list[tuple[str, str]]:
    """What a fact can be, as the switches offer it."""
    if name in CHOICES:
        return [(value, value.replace("_", " ")) for value in CHOICES[name]]
    if name in GRADES:
        low, high = GRADES[name]
        return [(str(grade), str(grade)) for grade in range(low, high + 1)]
    if name == "recent_surgery_weeks":
        return SURGERY_WEEKS
    return [("no", "no"), ("yes", "yes")]


class WhatIfForm(forms.Form):
    """Every fact, to be tried otherwise. Nothing here is ever stored."""

    prefix = "if"

    def __init__(self, *args: Any, lesions: Iterable[Lesion], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        many = list(lesions)
        for name, words in WORDS.items():
            keys = [(f"{name}_{one.pk}", f"{words}, {one.label}") for one in many]
            if name not in PER_LESION:
                keys = [(name, words)]
            elif len(many) == 1:
                keys = [(keys[0][0], words)]
            for key, label in keys:
                self.fields[key] = forms.ChoiceField(
                    label=label,
                    required=False,
                    choices=[("", "as it stands"), *_values(name), (UNKNOWN, "not known")],
                )

    def switched(self) -> dict[str, Any]:
        """Facts that are tried, by fact; a value that no list offers is left as it stands."""
        if not self.is_bound:
            return {}
        self.is_valid()
        return {
            key: _value(key, text)
            for key, text in getattr(self, "cleaned_data", {}).items()
            if text and key in self.fields
        }


def _value(key: str, text: str) -> Any:
    name = key.rsplit("_", 1)[0] if key.rsplit("_", 1)[-1].isdigit() else key
    if text == UNKNOWN:
        return None
    if name in CHOICES:
        return text
    if name in GRADES:
        return int(text)
    if name == "recent_surgery_weeks":
        return float(text)
    return text == "yes"


class ChoiceForm(forms.Form):
    device_class = forms.ChoiceField(label="Device", choices=[], widget=forms.RadioSelect)
    beside = forms.MultipleChoiceField(
        label="Beside it",
        choices=[],
        required=False,
        widget=forms.CheckboxSelectMultiple,
        help_text="For what the device leaves unserved, or for bed and chair.",
    )
    departure_reason = forms.ChoiceField(
        label="Reason for departing from guidance",
        choices=[],
        required=False,
    )
    reason = forms.CharField(
        label="Reason in words", widget=forms.Textarea(attrs={"rows": 3}), max_length=2000, min_length=8
    )
    device_label = forms.CharField(label="Maker's label, for tracing only", max_length=80, required=False)
    stop_reason = forms.ChoiceField(label="Why the present device stops", choices=[], required=False)
    carry_plan = forms.BooleanField(
        label="Carry the signed relief plan over to the new device", required=False
    )
    seen = forms.CharField(widget=forms.HiddenInput)

    def __init__(
        self,
        *args: Any,
        site: Site,
        offered: Iterable[str],
        running: bool,
        plan: bool = False,
        aids: Iterable[str] = (),
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        ranked = list(offered)
        names = dict(DEVICE_CHOICES)
        rest = [c for c in names if c not in ranked]
        choice = self.fields["device_class"]
        assert isinstance(choice, forms.ChoiceField)
        choice.choices = [(c, names[c]) for c in ranked] + [(c, f"{names[c]} (not offered)") for c in rest]
        reasons = reasons_of(site)
        self.fields["departure_reason"].choices = [  # type: ignore[attr-defined]
            ("", "It is what the guidance suggests first"),
            *choices_of(reasons[ReasonKind.DEPARTURE]),
        ]
        self.fields["stop_reason"].choices = [  # type: ignore[attr-defined]
            ("", "Choose"),
            *choices_of(reasons[ReasonKind.STOP]),
        ]
        beside = list(aids)
        if beside:
            self.fields["beside"].choices = [(c, names[c]) for c in beside]  # type: ignore[attr-defined]
        else:
            del self.fields["beside"]
        if not running:
            del self.fields["stop_reason"]
        if not plan:
            del self.fields["carry_plan"]


class Dated(forms.Form):
    """A step on a device, on a day that has come."""

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


class OpenForm(Dated):
    day_field = "opened_on"
    opened_on = DayField(label="Opened on")


class StopForm(Dated):
    day_field = "stopped_on"
    stopped_on = DayField(label="Stopped on")
    stop_reason = forms.ChoiceField(label="Why", choices=[])

    def __init__(self, *args: Any, site: Site, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        reasons = reasons_of(site)[ReasonKind.STOP]
        self.fields["stop_reason"].choices = choices_of(reasons)  # type: ignore[attr-defined]


class SecondForm(forms.Form):
    version = forms.IntegerField(widget=forms.HiddenInput)
