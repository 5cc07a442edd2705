"""From a form to the findings a write takes, and from a stored row to the words beside a field."""

from __future__ import annotations

from dataclasses import fields
from typing import Any, TypeVar

from django import forms
from django.db.models import Model

__all__ = ["findings_of", "words_of"]

Findings = TypeVar("Findings")


def findings_of(form: forms.Form, kind: type[Findings], **apart: Any) -> Findings:
    """What was typed on a valid form: each finding from the field of its name, or from `apart`.

    A field that this page took away was not asked, and its finding keeps the default. A finding that no field
    was ever declared for is a fault of the program, not an empty answer.

    Raises
    ------
    LookupError
        The form declares no field of a finding's name, and `apart` does not hold it.
    """
    values = dict(apart)
    for finding in fields(kind):  # type: ignore[arg-type]
        name = finding.name
        if name in apart:
            continue
        if name not in form.base_fields:
            raise LookupError(f"{type(form).__name__} declares no field for the finding {name}.")
        if name in form.fields:
            values[name] = form.cleaned_data[name]
    return kind(**values)


def words_of(row: Model, name: str) -> str:
    """A stored finding as it stands beside an empty field; nothing where nobody looked."""
    value = getattr(row, name)
    if isinstance(value, bool):
        return "yes" if value else "no"
    if row._meta.get_field(name).choices:  # type: ignore[union-attr]
        return str(getattr(row, f"get_{name}_display")()).lower()
    return "" if value is None else str(value)
