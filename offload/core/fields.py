"""Reads the fields of a JSON object strictly, and collects every fault instead of stopping at the first."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from typing import Any

from .errors import OutlineError
from .outline import Outline, Point

__all__ = ["REQUIRED", "Fields", "shown"]

REQUIRED: Any = object()
LONGEST_SHOWN = 60


def shown(value: object) -> str:
    """A value as it stands in the file, on one line and cut short."""
    try:
        text = json.dumps(value, ensure_ascii=True)
    except (TypeError, ValueError):
        text = repr(value)
    return text if len(text) <= LONGEST_SHOWN else f"{text[:LONGEST_SHOWN]}…"


class Fields:
    """One JSON object under reading.

    Parameters
    ----------
    data : object
        What stands in the file; a fault if it is no object.
    path : str
        Where it stands, empty at the top.
    known : sequence of str
        Names that may occur.
    faults : list of str
        Gets one sentence for each fault; shared by all objects of a file.
    """

    def __init__(self, data: object, path: str, known: Sequence[str], faults: list[str]) -> None:
        self.path = path
        self.faults = faults
        self.readable = isinstance(data, Mapping)
        self.data: Mapping[str, Any] = data if isinstance(data, Mapping) else {}
        if not self.readable:
            faults.append(f"{path or 'file'} is {shown(data)}; the limit is one JSON object")
        for name in self.data:
            if name not in known:
                at = self.at(name if name.isprintable() and len(name) <= LONGEST_SHOWN else shown(name))
                faults.append(f"{at} is an unknown field; the limit is {', '.join(known)}")

    def at(self, name: str) -> str:
        """Path of a field."""
        return f"{self.path}.{name}" if self.path else name

    def has(self, name: str) -> bool:
        """Whether the field is there and not null."""
        return self.data.get(name) is not None

    def refuse(self, name: str, limit: str, value: object = REQUIRED) -> None:
        """Record that a field's value is outside its limit."""
        given = self.data.get(name) if value is REQUIRED else value
        self.faults.append(f"{self.at(name)} is {shown(given)}; the limit is {limit}")

    def raw(self, name: str, limit: str, default: Any) -> Any:
        """The value, or the default if it is absent; None with a fault if a required one is."""
        if self.has(name):
            return self.data[name]
        if default is REQUIRED:
            if self.readable:
                given = "null" if name in self.data else "missing"
                self.faults.append(f"{self.at(name)} is {given}, and it is required; the limit is {limit}")
            return None
        return default

    def number(self, name: str, low: float, high: float, unit: str, default: Any = REQUIRED) -> Any:
        """A finite number between two bounds, both allowed; true and false are no numbers."""
        limit = f"a number from {low:g} to {high:g} {unit}".rstrip()
        value = self.raw(name, limit, default)
        if not self.has(name):
            return value
        number = finite(value)
        if number is None or not low <= number <= high:
            self.refuse(name, limit)
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
            self.faults.append(f"{self.at(name)} has {len(value)} {what}; the limit is {low} to {high}")
            return None
        return value

    def point(self, name: str, low: float, high: float, unit: str) -> Point | None:
        """A pair of finite numbers between two bounds."""
        limit = f"two numbers from {low:g} to {high:g} {unit}"
        value = self.raw(name, limit, REQUIRED)
        if not self.has(name):
            return None
        pair = [finite(entry) for entry in value] if isinstance(value, list) and len(value) == 2 else []
        if len(pair) == 2 and pair[0] is not None and pair[1] is not None:
            x, y = pair[0], pair[1]
            if low <= x <= high and low <= y <= high:
                return x, y
        self.refuse(name, limit)
        return None

    def outline(self, name: str, most_points: int, reach: float) -> Outline | None:
        """A checked ring of [x, y] points, each coordinate within ± reach [mm]."""
        points = self.items(name, 3, most_points, "points")
        if points is None:
            return None
        ring = []
        for i, point in enumerate(points):
            pair = [finite(entry) for entry in point] if isinstance(point, list) and len(point) == 2 else []
            if len(pair) != 2 or any(entry is None or abs(entry) > reach for entry in pair):
                self.faults.append(
                    f"{self.at(name)}[{i}] is {shown(point)}; the limit is two numbers from {-reach:g} to {reach:g} mm"
                )
                return None
            ring.append(tuple(pair))
        try:
            return Outline(tuple(ring), name=self.at(name))  # type: ignore[arg-type]
        except OutlineError as error:
            self.faults.append(str(error))
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
