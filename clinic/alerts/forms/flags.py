"""The red-flag questions, as a visit and a call ask them; answering a red flag."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from django import forms
from django.utils.html import format_html

from clinic.guidelines.red_flags import RED_FLAGS
from clinic.models import FlagAnswer
from clinic.record.forms.chips import NONE_OF_THESE
from clinic.record.forms.dates import DayField

__all__ = ["NONE_NEW", "FlagAnswerForm", "RedFlagQuestions"]

#: One deliberate touch for a foot with nothing new.
NONE_NEW = f"None new or worse of these {len(RED_FLAGS)}"
NOTE = "Who was called and who answered, what was done here, or why it is not a red flag"


def _note(**options: Any) -> forms.CharField:
    return forms.CharField(label=NOTE, max_length=300, widget=forms.Textarea(attrs={"rows": 2}), **options)


def _under() -> forms.CharField:
    return forms.CharField(label="If known: under which team", max_length=80, required=False)


def _until() -> DayField:
    return DayField(label="If known: next seen there on", required=False)


class RedFlagQuestions(forms.Form):
    """Each question asks what is new or worse; what is known already stands beside it (`known_beside`)."""

    red_flags = forms.MultipleChoiceField(
        label="New or worse since last time",
        choices=[(NONE_OF_THESE, NONE_NEW), *((flag.id, flag.question) for flag in RED_FLAGS)],
        widget=forms.CheckboxSelectMultiple,
        error_messages={"required": f"Red flags: not answered; tick what is new or worse, or “{NONE_NEW}”."},
    )
    flag_answer = forms.ChoiceField(
        label="What was done", choices=FlagAnswer.choices, required=False, widget=forms.RadioSelect
    )
    flag_answer_note = _note(required=False)
    flag_under = _under()
    flag_until = _until()

    def known_beside(self, known: Mapping[str, Iterable[str]]) -> None:
        """Put what is on record, and who has it, beside the question it is about."""
        beside = '<span>{} <span class="known">known: {}</span></span>'
        choices = [
            (key, format_html(beside, label, "; ".join(known[key])) if known.get(key) else label)
            for key, label in self.fields["red_flags"].choices  # type: ignore[attr-defined]
        ]
        self.fields["red_flags"].choices = choices  # type: ignore[attr-defined]

    def clean_red_flags(self) -> list[str]:
        ticked = self.cleaned_data["red_flags"]
        if NONE_OF_THESE in ticked and len(ticked) > 1:
            raise forms.ValidationError(
                f"Red flags: “{NONE_NEW}” is ticked beside a red flag; take one of them away."
            )
        return [flag for flag in ticked if flag != NONE_OF_THESE]


class FlagAnswerForm(forms.Form):
    answer = forms.ChoiceField(label="What was done", choices=FlagAnswer.choices, widget=forms.RadioSelect)
    answer_note = _note()
    under = _under()
    until = _until()
    version = forms.IntegerField(widget=forms.HiddenInput)
