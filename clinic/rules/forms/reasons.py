"""Adding a reason of the clinic's own, and changing one."""

from __future__ import annotations

from typing import Any

from django import forms

from clinic.models import PROGRAM, ReasonKind
from clinic.rules.writes.reasons import LONGEST_REASON

__all__ = ["ReasonChangeForm", "ReasonForm"]


class ReasonForm(forms.Form):
    """One choice of both lists: what a reason is for follows from what it counts as."""

    words = forms.CharField(label="Reason, in this clinic's words", max_length=LONGEST_REASON)
    place = forms.ChoiceField(
        label="Counts as", choices=[], help_text="In the figures, so that clinics can be compared."
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["place"].choices = [("", "Choose")] + [  # type: ignore[attr-defined]
            (str(kind.label), [(f"{kind.value}.{code}", words) for code, words in PROGRAM[kind].choices])
            for kind in ReasonKind
        ]

    @property
    def kind_and_code(self) -> tuple[str, str]:
        kind, _, code = self.cleaned_data["place"].partition(".")
        return kind, code


class ReasonChangeForm(forms.Form):
    seen = forms.IntegerField(widget=forms.HiddenInput)
    words = forms.CharField(label="Reason, in this clinic's words", max_length=LONGEST_REASON)
    in_use = forms.BooleanField(label="Can be given", required=False)
