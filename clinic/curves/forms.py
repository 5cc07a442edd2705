"""What to compare a lesion with."""

from __future__ import annotations

from typing import Any

from django import forms

from clinic.curves.reads.comparing import Choice, Choices

__all__ = ["CompareForm"]


def _option(choice: Choice) -> tuple[str, str]:
    words = choice.words if choice.enough else f"{choice.words}: too few areas"
    return choice.value, f"{words} ({choice.counts})"


class CompareForm(forms.Form):
    against = forms.ChoiceField(label="Compare with")

    def __init__(self, *args: Any, choices: Choices, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["against"].choices = [  # type: ignore[attr-defined]
            (heading, [_option(choice) for choice in group])
            for heading, group in (
                ("This ulcer before and after", choices.periods),
                ("Another ulcer of this patient", choices.lesions),
            )
            if group
        ]
