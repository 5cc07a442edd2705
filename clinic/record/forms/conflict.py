"""Both values, side by side, when someone else saved a record first. What was typed stays typed."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from django import forms
from django.utils.formats import date_format

__all__ = ["Difference", "differences"]


@dataclass(frozen=True)
class Difference:
    """One field whose value in the record is not what was typed."""

    label: str
    in_record: str
    typed: str


def _choices(choices: Iterable[Any]) -> dict[str, str]:
    words = {}
    for key, value in choices:
        if isinstance(value, list | tuple):  # a group of choices
            words.update(_choices(value))
        else:
            words[str(key)] = str(value)
    return words


def _words(form: forms.BaseForm, name: str, value: Any) -> str:
    field = form.fields[name]
    if value in (None, ""):
        return "empty"
    if isinstance(value, bool):
        return "Yes" if value else "No"
    if isinstance(value, date):
        return date_format(value)
    return _choices(getattr(field, "choices", ())).get(str(value), str(value))


def _same(one: Any, other: Any) -> bool:
    return one == other or (one in (None, "") and other in (None, ""))


def differences(form: forms.BaseForm, now: Mapping[str, Any], *, version: int) -> list[Difference]:
    """What differs from the record as it is now; the next press of the button then saves over that,
    knowingly.
    """
    found = [
        Difference(
            str(form.fields[name].label),
            _words(form, name, value),
            _words(form, name, form.cleaned_data[name]),
        )
        for name, value in now.items()
        if name in form.cleaned_data and not _same(value, form.cleaned_data[name])
    ]
    again: Any = form.data.copy()  # type: ignore[attr-defined]
    again[form.add_prefix("version")] = str(version)
    form.data = again
    return found
