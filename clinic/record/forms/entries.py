"""How a day, a number, and a yes, a no or nothing is typed. Each fault names the field, the value and the
limit.
"""

from __future__ import annotations

from datetime import date
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.html import format_html

from clinic.record.forms.dates import DayField
from clinic.record.forms.numbers import NumberField

__all__ = ["NumberField", "PastDayField", "PickOne", "YesNoField", "last_words"]


def last_words(words: str, day: date, *, stale: bool = False) -> str:
    """The last value, to stand beside an empty field."""
    old = ", too old to rely on" if stale else ""
    return format_html('<span class="last">Last: {}, {}{}</span>', words, date_format(day), old)


class PastDayField(DayField):
    """A calendar day that has come already."""

    def validate(self, value: date | None) -> None:
        super().validate(value)
        today = timezone.localdate()
        if value and value > today:
            raise ValidationError(
                f"{self.label} was given as {date_format(value)}; the latest possible is today, "
                f"{date_format(today)}."
            )


class YesNoField(forms.TypedChoiceField):
    """Yes, no, or left alone: nothing is chosen for anybody."""

    def __init__(self, *, untouched: str = "Not looked at", **kwargs: Any) -> None:
        super().__init__(
            choices=[("", untouched), ("yes", "Yes"), ("no", "No")],
            coerce=lambda value: value == "yes",
            empty_value=None,
            required=False,
            widget=forms.RadioSelect,
            **kwargs,
        )

    def prepare_value(self, value: Any) -> Any:
        return {True: "yes", False: "no", None: ""}.get(value, value)


class PickOne(forms.ChoiceField):
    """A closed list shown whole; optional ones start at the word for "left alone"."""

    def __init__(self, *, choices: Any, untouched: str = "", **kwargs: Any) -> None:
        pairs = list(choices)
        if untouched:
            pairs = [("", untouched), *pairs]
            kwargs.setdefault("required", False)
        super().__init__(choices=pairs, widget=forms.RadioSelect, **kwargs)
