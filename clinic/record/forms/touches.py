"""One deliberate touch that answers several questions the same way; each stays answerable alone."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

from django import forms

__all__ = ["TOUCH", "TouchField", "touches_answer", "touches_fit"]

TOUCH = "record/_touch.html"


class TouchField(forms.BooleanField):
    """Names every question it answers, and is never ticked beforehand.

    `answers` holds, by field, what the touch says of it in words and the value that stands for it.
    """

    def __init__(self, answers: Mapping[str, tuple[str, str]], *, lead: str = "") -> None:
        super().__init__(required=False)
        self.answers, self.lead = answers, lead

    def fit(self, form: forms.Form) -> int:
        """Answer only what this page asks; the number of questions left."""
        self.answers = {name: answer for name, answer in self.answers.items() if name in form.fields}
        spoken = ", ".join(words for words, _ in self.answers.values())
        self.label = f"{self.lead}{spoken}"
        values = {form.add_prefix(name): value for name, (_, value) in self.answers.items()}
        self.template_name = TOUCH
        self.widget.attrs["data-answers"] = json.dumps(values)
        return len(self.answers)


def touches_fit(form: forms.Form) -> None:
    """Fit every touch to the questions of this page; one that answers a single question is left out."""
    for name, field in list(form.fields.items()):
        if isinstance(field, TouchField) and field.fit(form) < 2:
            del form.fields[name]


def touches_answer(form: forms.Form) -> None:
    """Put a touch's answers where nothing else was answered; refuse one that another answer contradicts."""
    data = form.cleaned_data
    for name, field in form.fields.items():
        if not isinstance(field, TouchField) or not data.get(name):
            continue
        for question, (_, value) in field.answers.items():
            value_read: Any = form.fields[question].clean(
                [value] if isinstance(form.fields[question], forms.MultipleChoiceField) else value
            )
            given = data.get(question)
            if given in (None, "", []) and question not in form.errors:
                data[question] = value_read
            elif question in data and given != value_read:
                form.add_error(
                    name,
                    f"“{field.label}” is ticked beside another answer to “{form.fields[question].label}”; "
                    "take one of them away.",
                )
