"""The one field for a number: how people type one, what of it is read, and what is refused in words.

Comma or point before the decimals, spaces around it, and the field's own unit behind it are read. Whatever
could be two numbers is refused by name, since a figure read otherwise than it was meant is worse than none.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

__all__ = ["MOST_CHARACTERS", "NumberField", "pattern_of", "plain_words", "read_number", "why_unread"]

MOST_CHARACTERS = 40
LONGEST_SHOWN = 24
#: Other spellings of a unit that are read beside the unit itself.
UNIT_SPELLINGS = {"degrees": ("°", "deg"), "°": ("degrees", "deg"), "°C": ("C",), "per minute": ("/min",)}
#: Thousands are never guessed: "1,234" is two numbers, "0,125" is one.
TWO_WAYS = "[1-9][0-9]{0,2},[0-9]{3}"
MINUS = "\u2212"  # as the pages print it, so that it can be copied back
BETWEEN = f"[ '’_{chr(0xA0)}{chr(0x202F)}]"
THOUSANDS = re.compile(rf"[-+{MINUS}]?[0-9]{{1,3}}(?:{BETWEEN}[0-9]{{3}})+(?:[.,][0-9]+)?")


class Typed(str):
    """What somebody typed, as against what a page was opened with: only the former is echoed."""


def pattern_of(unit: str = "") -> str:
    """All that is read, as one pattern for server and browser: sign, whole digits, decimals."""
    units = "|".join(map(re.escape, (unit, *UNIT_SPELLINGS.get(unit, ())))) if unit else ""
    behind = rf"(?:{units})?\s*" if units else ""
    sign = rf"([-+{MINUS}]?)(?!{TWO_WAYS}(?![0-9]))"
    return rf"\s*{sign}(?=[.,]?[0-9])([0-9]{{0,12}})(?:[.,]([0-9]{{0,9}}))?\s*{behind}"


def read_number(text: str, unit: str = "") -> Decimal | None:
    """The number that was typed, or None where it is not one number only."""
    found = re.fullmatch(pattern_of(unit), text, re.IGNORECASE) if len(text) <= MOST_CHARACTERS else None
    if found is None:
        return None
    sign, whole, decimals = found.groups()
    value = Decimal(f"{whole or 0}.{decimals or 0}")
    return -value if sign in ("-", MINUS) else value


def why_unread(text: str, unit: str = "") -> str:
    """Why a text that `read_number` does not read is refused, as the end of "… was given as “text”, "."""
    text = text.strip()
    if len(text) > MOST_CHARACTERS:
        return f"{len(text)} characters; at most {MOST_CHARACTERS} are read"
    if re.fullmatch(r"[-+]?(nan|inf|infinity)", text, re.IGNORECASE):
        return "which is no number"
    if any(one.isnumeric() and not one.isascii() for one in text):
        return "in other digits than 0 to 9"
    if re.fullmatch(r"[-+]?[0-9.,]+e[-+]?[0-9]+", text, re.IGNORECASE):
        return "with an exponent; write it out"
    number = text.removesuffix(unit).rstrip() if unit else text
    if grouped := _without_thousands(number):
        return f"with a mark between thousands; write {grouped}"
    if re.fullmatch(TWO_WAYS, number.lstrip(f"-+{MINUS}")):
        return f"which can be two numbers; write {number.replace(',', '')} or {number.replace(',', '.')}"
    behind = re.fullmatch(rf"[-+{MINUS}]?[0-9.,]+\s*([a-zµ%°\"].*)", text, re.IGNORECASE)
    if behind and read_number(text[: behind.start(1)]) is not None:
        here = f"this field is in {unit}" if unit else "this field has no unit"
        return f"with “{behind[1][:LONGEST_SHOWN]}” behind it; {here}"
    return "which is not one number"


def _without_thousands(text: str) -> str:
    """A number with marks between its thousands as it is to be written; empty where it has none."""
    if THOUSANDS.fullmatch(text):
        return re.sub(BETWEEN, "", text).replace(",", ".")
    for mark, point in ((",", "."), (".", ",")):
        group = rf"[-+{MINUS}]?[0-9]{{1,3}}(?:{re.escape(mark)}[0-9]{{3}})"
        if re.fullmatch(rf"{group}+{re.escape(point)}[0-9]+|{group}{{2,}}", text):
            return text.replace(mark, "").replace(point, ".")
    return ""


def plain_words(value: Decimal) -> str:
    """A number without an exponent or noughts at its end."""
    return f"{value.normalize() + 0:f}"


def _shown(text: str) -> str:
    text = text.strip()
    return text if len(text) <= LONGEST_SHOWN else f"{text[:LONGEST_SHOWN]}…"


class NumberInput(forms.TextInput):
    """A text field, because a browser's number field drops what it does not understand. What was typed is
    echoed beside it as it was read; `quiet` only where the two differ.
    """

    template_name = "record/_number.html"

    def __init__(self, *, unit: str, quiet: bool) -> None:
        super().__init__(
            attrs={"inputmode": "decimal", "autocomplete": "off", "data-number": pattern_of(unit)}
        )
        self.unit, self.quiet = unit, quiet

    def get_context(self, name: str, value: Any, attrs: dict[str, Any] | None) -> dict[str, Any]:
        context = super().get_context(name, value, attrs)
        number = read_number(value, self.unit) if isinstance(value, Typed) else None
        echoed = number is not None and not (self.quiet and plain_words(number) == value.strip())
        context["widget"] |= {
            "unit": self.unit,
            "quiet": self.quiet,
            "echo": plain_words(number) if number is not None and echoed else "",
        }
        return context


class NumberField(forms.Field):
    """A number between two bounds, both allowed, with its unit; `kind` is what the form hands on."""

    widget: NumberInput  # type: ignore[assignment]

    def __init__(
        self,
        *,
        label: str,
        low: float,
        high: float,
        places: int = 0,
        unit: str = "",
        kind: Callable[[Decimal], Any] = Decimal,
        quiet: bool = False,
        **kwargs: Any,
    ) -> None:
        self.name, self.places, self.kind = label, places, kind
        self.low, self.high, self.unit = Decimal(str(low)), Decimal(str(high)), unit
        super().__init__(
            label=f"{label} ({unit})" if unit else label,
            widget=NumberInput(unit=unit, quiet=quiet),
            error_messages={"required": f"{label} is missing; {self.limit}."},
            **kwargs,
        )

    @property
    def limit(self) -> str:
        """What is allowed, in words."""
        unit = f" {self.unit}" if self.unit else ""
        return f"it must be between {self.low.normalize():f} and {self.high.normalize():f}{unit}"

    def bound_data(self, data: Any, initial: Any) -> Any:
        held = super().bound_data(data, initial)
        return Typed(held) if isinstance(held, str) else held

    def to_python(self, value: Any) -> Any:
        text = "" if value is None else str(value)
        if not text.strip():
            return None
        number = read_number(text, self.unit)
        if number is None:
            raise ValidationError(
                f"{self.name} was given as “{_shown(text)}”, {why_unread(text, self.unit)}; {self.limit}."
            )
        given = f"{self.name} was given as {plain_words(number)}{f' {self.unit}' if self.unit else ''}"
        if not self.low <= number <= self.high:
            raise ValidationError(f"{given}; {self.limit}.")
        if number != round(number, self.places):
            most = (
                f"at most {self.places} decimal{'s' if self.places > 1 else ''}"
                if self.places
                else "no decimals"
            )
            raise ValidationError(f"{given}; {most} can be kept, and {self.limit}.")
        return self.kind(round(number, self.places) if self.places else Decimal(int(number)))
