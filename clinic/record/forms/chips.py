"""Answers that are touched, not typed: one of a few words, none of them chosen beforehand."""

from __future__ import annotations

from typing import Any

from django import forms

__all__ = ["FIELD", "NONE_OF_THESE", "YesNoChips", "chips", "drawn_by", "filled"]

#: The template that draws one answer.
FIELD = "record/_field.html"
#: The one choice that says that none of a list is there.
NONE_OF_THESE = "none"


def drawn_by(form: forms.Form, template: str, *names: str) -> None:
    """Draw these fields by a template of their own."""
    for name in names:
        if name in form.fields:
            form.fields[name].template_name = template  # type: ignore[attr-defined]


class YesNoChips(forms.TypedChoiceField):
    """Yes, no, or untouched, which is `not looked at` and never `no`."""

    def __init__(self, **options: Any) -> None:
        super().__init__(
            choices=[("yes", "Yes"), ("no", "No")],
            coerce=lambda value: value == "yes",
            empty_value=None,
            required=False,
            widget=forms.RadioSelect,
            **options,
        )

    def prepare_value(self, value: Any) -> Any:
        return {True: "yes", False: "no"}.get(value, value) if isinstance(value, bool) else value


def filled(form: forms.BaseForm, *names: str) -> bool:
    """Whether one of these fields holds something or is faulty, so that a fold around it stands open."""
    return any(
        form[name].value() not in (None, "", [], ()) or form[name].errors
        for name in names
        if name in form.fields
    )


def chips(label: str, choices: list[tuple[str, str]], **options: Any) -> forms.ChoiceField:
    """One of a few words, none of them chosen beforehand."""
    return forms.ChoiceField(
        label=label,
        choices=choices,
        required=False,
        widget=forms.RadioSelect,
        **options,
    )
