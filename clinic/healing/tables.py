"""Strict reading of the two CSV tables of this package: every fault is named, none is repaired.

A table is refused whole when one cell is wrong, since a figure computed from the rest would look complete.
"""

import csv
import io
import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from typing import TypeVar

from clinic.healing.errors import HealingError, TableError
from clinic.healing.series import AREA_LIMIT_MM2, Area, Method, WoundState, square_mm

__all__ = ["EventRow", "SeriesRow", "read_events", "read_series"]

_T = TypeVar("_T")

_NUMBER = re.compile(r"[+-]?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][+-]?[0-9]{1,3})?")
_DAY = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
_FIRST_DAY, _LAST_DAY = date(1900, 1, 1), date(2199, 12, 31)
_NAME_LENGTH = 100
_DURATION_LIMIT = 1_000_000.0
_FAULT_LIMIT = 100  # a wrong delimiter or column makes every row wrong; nobody reads a million sentences


@dataclass(frozen=True, slots=True)
class SeriesRow:
    """One lesion of a series table and its areas in file order."""

    lesion: str
    areas: tuple[Area, ...]


@dataclass(frozen=True, slots=True)
class EventRow:
    """One group of an event table: its durations and whether each ended in the event."""

    group: str
    durations: tuple[float, ...]
    events: tuple[int, ...]


def read_series(content: bytes) -> tuple[SeriesRow, ...]:
    """Read ``lesion,date,area_cm2[,method[,state]]``.

    Parameters
    ----------
    content : bytes
        UTF-8 text with or without a byte order mark. An absent or empty method is ``traced``; an absent or
        empty state is "not stated".

    Returns
    -------
    tuple of SeriesRow
        Lesions in the order of their first row.

    Raises
    ------
    TableError
        With one sentence per fault.

    Examples
    --------
    >>> from clinic.healing.tables import read_series
    >>> for lesion in read_series(b'lesion,date,area_cm2\\nA,2026-01-05,2.4\\nA,2026-01-12,2.1\\n'):
    ...     print(lesion.lesion, [(area.day.isoformat(), area.area) for area in lesion.areas])
    A [('2026-01-05', 240.0), ('2026-01-12', 210.0)]
    """
    faults: list[str] = []
    rows = _rows(
        content, required=("lesion", "date", "area_cm2"), optional=("method", "state"), faults=faults
    )
    lesions: dict[str, list[Area]] = {}
    seen: dict[tuple[str, date, Method, WoundState], int] = {}
    for line, cells in rows:
        take = _Taker(line, cells, faults)
        lesion = take("lesion", _name)
        day = take("date", _day)
        area = take("area_cm2", lambda text: _number(text, AREA_LIMIT_MM2 / 100.0))
        method = take("method", _method) if cells.get("method") else Method.TRACED
        state = take("state", _state) if cells.get("state") else WoundState.NOT_STATED
        if lesion is None or day is None or area is None or method is None or state is None:
            continue
        key = (lesion, day, method, state)
        if key in seen:
            faults.append(
                f"row {line}: date '{day.isoformat()}' of lesion '{lesion}' repeats row {seen[key]}, at most "
                "1 area "
                "per lesion, method, state and day"
            )
            continue
        seen[key] = line
        lesions.setdefault(lesion, []).append(Area(day, square_mm(area), method, state))
    _refuse(faults)
    return tuple(SeriesRow(lesion, tuple(areas)) for lesion, areas in lesions.items())


def read_events(content: bytes) -> tuple[EventRow, ...]:
    """Read ``duration,event[,group]``.

    Parameters
    ----------
    content : bytes
        UTF-8 text with or without a byte order mark. ``weeks`` is taken as a name of the duration column,
        since published survival tables are often headed by their unit. Without a group column all rows are
        one group named ``all``.

    Returns
    -------
    tuple of EventRow
        Groups in the order of their first row.

    Raises
    ------
    TableError
        With one sentence per fault.
    """
    faults: list[str] = []
    rows = _rows(
        content,
        required=("duration", "event"),
        optional=("group",),
        faults=faults,
        aliases={"weeks": "duration"},
    )
    groups: dict[str, tuple[list[float], list[int]]] = {}
    for line, cells in rows:
        take = _Taker(line, cells, faults)
        duration = take("duration", lambda text: _number(text, _DURATION_LIMIT))
        event = take("event", _mark)
        group = take("group", _name) if "group" in cells else "all"
        if duration is None or event is None or group is None:
            continue
        durations, events = groups.setdefault(group, ([], []))
        durations.append(duration)
        events.append(event)
    _refuse(faults)
    return tuple(EventRow(group, tuple(pair[0]), tuple(pair[1])) for group, pair in groups.items())


class _Taker:
    """Reads cells of one row, turning each refusal into a fault that names row and field."""

    def __init__(self, line: int, cells: dict[str, str], faults: list[str]) -> None:
        self.line, self.cells, self.faults = line, cells, faults

    def __call__(self, field: str, read: Callable[[str], _T]) -> _T | None:
        text = self.cells[field]
        try:
            return read(text)
        except HealingError as refusal:
            shown = text if len(text) <= 60 else f"{text[:57]}..."
            self.faults.append(f"row {self.line}: {field} {shown!r} {refusal}")
            return None


def _rows(
    content: bytes,
    *,
    required: tuple[str, ...],
    optional: tuple[str, ...],
    faults: list[str],
    aliases: dict[str, str] | None = None,
) -> list[tuple[int, dict[str, str]]]:
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise TableError([f"file: byte {error.start} is not UTF-8 text"]) from error
    if "\x00" in text:
        raise TableError(["file: holds a NUL byte, only text is allowed"])
    reader = csv.reader(io.StringIO(text, newline=""), strict=True)
    lines: list[tuple[int, list[str]]] = []
    try:
        for cells in reader:
            if any(cell.strip() for cell in cells):
                lines.append((reader.line_num, [cell.strip() for cell in cells]))
    except csv.Error as error:
        raise TableError([f"row {reader.line_num}: not readable as CSV ({error})"]) from error
    allowed = ", ".join((*required, *optional))
    if not lines:
        raise TableError([f"file: 0 rows, a header row with the columns {allowed} is needed"])
    header = [(aliases or {}).get(name, name) for name in lines[0][1]]
    names: list[str] = []
    for name in header:
        if name not in (*required, *optional):
            faults.append(f"header: column {name!r} is not known, allowed are {allowed}")
        elif name in names:
            faults.append(f"header: column {name!r} is given 2 times, at most 1")
        names.append(name)
    faults.extend(
        f"header: column {name!r} is missing, it is required" for name in required if name not in names
    )
    _refuse(faults)
    if len(lines) == 1:
        raise TableError(["file: 0 data rows, at least 1 needed"])
    rows = []
    for line, cells in lines[1:]:
        if len(cells) != len(names):
            faults.append(f"row {line}: {len(cells)} cells, {len(names)} needed as in the header")
            continue
        rows.append((line, dict(zip(names, cells, strict=True))))
    return rows


def _refuse(faults: list[str]) -> None:
    if len(faults) > _FAULT_LIMIT:
        raise TableError(
            [*faults[:_FAULT_LIMIT], f"file: {len(faults) - _FAULT_LIMIT} more faults not shown"]
        )
    if faults:
        raise TableError(faults)


def _name(text: str) -> str:
    if not text:
        raise HealingError(f"is empty, 1 to {_NAME_LENGTH} characters needed")
    if len(text) > _NAME_LENGTH:
        raise HealingError(f"has {len(text)} characters, at most {_NAME_LENGTH}")
    return text


def _day(text: str) -> date:
    # date.fromisoformat also reads week dates and compact dates, which nobody types on purpose.
    if not _DAY.fullmatch(text):
        raise HealingError("is not a date written YYYY-MM-DD")
    try:
        day = date.fromisoformat(text)
    except ValueError as error:
        raise HealingError("is not a day of the calendar, written YYYY-MM-DD") from error
    if not _FIRST_DAY <= day <= _LAST_DAY:
        raise HealingError(f"is not from {_FIRST_DAY.isoformat()} to {_LAST_DAY.isoformat()}")
    return day


def _number(text: str, limit: float) -> float:
    # A pattern, not float(): that reads "nan", "inf" and "1_000" as numbers.
    if not _NUMBER.fullmatch(text):
        raise HealingError(f"is not a decimal number from 0 to {limit:g}")
    value = float(text)
    if not 0.0 <= value <= limit:
        raise HealingError(f"is not from 0 to {limit:g}")
    return value + 0.0  # "-0" is 0


def _mark(text: str) -> int:
    if text not in ("0", "1"):
        raise HealingError("is neither 0 (censored) nor 1 (healed)")
    return int(text)


def _method(text: str) -> Method:
    try:
        return Method(text)
    except ValueError as error:
        raise HealingError(f"is not one of {', '.join(Method)}") from error


def _state(text: str) -> WoundState:
    try:
        return WoundState(text)
    except ValueError as error:
        raise HealingError("is not one of before, after") from error
