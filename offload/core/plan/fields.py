"""Reads the fields of a JSON object strictly, and collects every fault instead of stopping at the first."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

from offload.core.errors import LONGEST_SHOWN, Fault, OutlineError, Path, shown, where
from offload.core.plan.bounds import Span
from offload.core.shapes.outline import Outline, Point

__all__ = ["REQUIRED", "Fields", "finite"]

REQUIRED: Any = object()


class Fields:
    """One JSON object under reading.

    Parameters
    ----------
    data : object
        What stands in the file; a fault if it is no object.
    path : tuple of str and int
        Where it stands, empty at the top.
    known : sequence of str
        Names that may occur.
    faults : list of Fault
        Gets every fault; shared by all objects of a file.
    """

    def __init__(self, data: object, path: Path, known: Sequence[str], faults: list[Fault]) -> None:
        self.path = path
        self.faults = faults
        self.readable = isinstance(data, Mapping)
        self.data: Mapping[str, Any] = data if isinstance(data, Mapping) else {}
        if not self.readable:
            faults.append(Fault(path, data, "one JSON object", subject=where(path) or "file"))
        for name in self.data:
            if name not in known:
                at = self.at(name if name.isprintable() and len(name) <= LONGEST_SHOWN else shown(name))
                faults.append(Fault(at, self.data[name], ", ".join(known), "is an unknown field"))

    def at(self, *keys: str | int) -> Path:
        """Path of a field, or of an entry within it."""
        return (*self.path, *keys)

    def has(self, name: str) -> bool:
        """Whether the field is there and not null."""
        return self.data.get(name) is not None

    def refuse(self, name: str, limit: str, found: str = "") -> None:
        """Record that a field's value is outside its limit."""
        self.faults.append(Fault(self.at(name), self.data.get(name), limit, found))

    def refuse_entry(self, keys: Path, limit: str, value: object) -> None:
        """Record that an entry within a field is outside its limit."""
        self.faults.append(Fault(self.at(*keys), value, limit))

    def raw(self, name: str, limit: str, default: Any) -> Any:
        """The value, or the default if it is absent; None with a fault if a required one is."""
        if self.has(name):
            return self.data[name]
        if default is REQUIRED:
            if self.readable:
                given = "null" if name in self.data else "missing"
                self.refuse(name, limit, f"is {given}, and it is required")
            return None
        return default

    def number(self, name: str, span: Span, default: Any = REQUIRED) -> Any:
        """A finite number between two bounds, both allowed; true and false are no numbers."""
        value = self.raw(name, span.limit, default)
        if not self.has(name):
            return value
        number = finite(value)
        if number is None or number not in span:
            self.refuse(name, span.limit)
            return None
        return number

    def flag(self, name: str, default: Any = REQUIRED) -> Any:
        """True or false."""
        value = self.raw(name, "true or false", default)
        if self.has(name) and not isinstance(value, bool):
            self.refuse(name, "true or false")
            return None
        return value

    def choice(self, name: str, allowed: Sequence[str], default: Any = REQUIRED) -> Any:
        """One of a few words."""
        limit = f"one of {', '.join(allowed)}"
        value = self.raw(name, limit, default)
        if self.has(name) and (not isinstance(value, str) or value not in allowed):
            self.refuse(name, limit)
            return None
        return value

    def items(self, name: str, low: int, high: int, what: str, default: Any = REQUIRED) -> Any:
        """A list with a bounded number of entries."""
        limit = f"a list of {low} to {high} {what}"
        value = self.raw(name, limit, default)
        if not self.has(name):
            return value
        if not isinstance(value, list):
            self.refuse(name, limit)
            return None
        if not low <= len(value) <= high:
            self.refuse(name, f"{low} to {high}", f"has {len(value)} {what}")
            return None
        return value

    def point(self, name: str, span: Span) -> Point | None:
        """A pair of finite numbers between two bounds."""
        limit = span.limit_of_two
        value = self.raw(name, limit, REQUIRED)
        if not self.has(name):
            return None
        pair = [finite(entry) for entry in value] if isinstance(value, list) and len(value) == 2 else []
        if len(pair) == 2 and pair[0] is not None and pair[1] is not None:
            x, y = pair[0], pair[1]
            if x in span and y in span:
                return x, y
        self.refuse(name, limit)
        return None

    def outline(self, name: str, most_points: int, span: Span) -> Outline | None:
        """A checked ring of [x, y] points, each coordinate between two bounds."""
        points = self.items(name, 3, most_points, "points")
        if points is None:
            return None
        ring = []
        for i, point in enumerate(points):
            pair = [finite(entry) for entry in point] if isinstance(point, list) and len(point) == 2 else []
            if len(pair) != 2 or any(entry is None or entry not in span for entry in pair):
                self.refuse_entry((name, i), span.limit_of_two, point)
                return None
            ring.append(tuple(pair))
        try:
            return Outline(tuple(ring), name=where(self.at(name)))  # type: ignore[arg-type]
        except OutlineError as error:
            self.faults.append(Fault(self.at(name), points, "", str(error), ""))
            return None


def finite(value: object) -> float | None:
    """The value as a float if it is a finite number, else None."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    try:
        number = float(value)
    except OverflowError:
        return None
    return number if math.isfinite(number) else None
