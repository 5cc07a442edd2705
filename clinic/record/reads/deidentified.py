"""Case rows without what could point at a person: the method is written on every export that uses it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import Any

__all__ = ["LEAST", "METHOD", "deidentified", "small"]

#: Fewer than this in one cell could point at someone (common practice of published audits, no source for the
#: number).
LEAST = 5
METHOD = (
    "De-identified: no name, record number, sentence or prescriber; days are cut to their month; where fewer "
    "than "
    f"{LEAST} rows share month, place and device class, first the place is left out, then the month cut to "
    "its year, then the "
    f"class left out; counts of 1 to {LEAST - 1} are not given. This lowers the risk of recognition and does "
    "not remove it: "
    "keep the file within the organisation."
)
_NEVER = ("record_number", "lesion", "prescribed_on", "fitted_on", "stopped_on", "day")


def small(count: int) -> bool:
    """Whether a count is too small to be given."""
    return 0 < count < LEAST


def deidentified(rows: Sequence[dict[str, Any]]) -> list[dict[str, Any]]:
    """Rows cut down until each shares what could be known of it from outside with at least four others.

    A row that shares it with too few even then keeps none of it.
    """
    cut = []
    for row in rows:
        day = row.get("prescribed_on") or row.get("day")
        shown = {name: value for name, value in row.items() if name not in _NEVER}
        shown["when"] = day.strftime("%Y-%m") if day else None
        cut.append(shown)
    for blank in (_without_place, _with_year, _without_class, _without_year):
        alike = Counter(_shared(row) for row in cut)
        cut = [blank(row) if alike[_shared(row)] < LEAST else row for row in cut]
    return cut


def _shared(row: dict[str, Any]) -> tuple[Any, ...]:
    return row["when"], row.get("place"), row.get("device_class"), row.get("foot")


def _without_place(row: dict[str, Any]) -> dict[str, Any]:
    return {**row, "place": None, "foot": None}


def _with_year(row: dict[str, Any]) -> dict[str, Any]:
    return {**row, "place": None, "foot": None, "when": row["when"][:4] if row["when"] else None}


def _without_class(row: dict[str, Any]) -> dict[str, Any]:
    return {**_with_year(row), "device_class": None, "first_offered": None}


def _without_year(row: dict[str, Any]) -> dict[str, Any]:
    return {**_without_class(row), "when": None}
