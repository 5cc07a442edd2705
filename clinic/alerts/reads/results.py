"""Tests that somebody waits for: how each stands today, for one person, one ulcer or many people."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db.models import QuerySet

from clinic.guidelines.due import ResultStanding, days_overdue, result_standing
from clinic.models import Result
from clinic.record.dates import day_words

__all__ = ["ResultRow", "result_row", "results_of", "results_open"]

WORDS = {
    "requested": "Requested",
    "due": "Due today",
    "late": "Late",
    "arrived": "Arrived, not seen",
    "seen": "Seen",
    "withdrawn": "Withdrawn",
}


@dataclass(frozen=True)
class ResultRow:
    """One test with how it stands on a day."""

    result: Result
    standing: ResultStanding | str
    sentence: str

    @property
    def words(self) -> str:
        return WORDS[self.standing]

    @property
    def asks(self) -> bool:
        """Whether somebody has to do something about it today."""
        return self.standing in ("due", "late", "arrived")


def result_row(result: Result, today: date) -> ResultRow:
    """How a test stands; no query where owner and seer were fetched with it."""
    if result.withdrawn_on is not None:
        why = f"Withdrawn {day_words(result.withdrawn_on)}: {result.withdrawn_because}"
        return ResultRow(result, "withdrawn", why)
    standing = result_standing(result.due_on, result.result_on, result.seen_on, today)
    return ResultRow(result, standing, _sentence(result, standing, today))


def _sentence(result: Result, standing: str, today: date) -> str:
    waits = f"requested {day_words(result.requested_on)}, owner {result.owner}"
    if standing in ("arrived", "seen"):
        said_by = f"{result.get_reading_display()}, {day_words(result.result_on or today)}"
        report = f"{said_by}: {result.value_words}" if result.value_words else said_by
        if standing == "seen":
            return f"{report}. Seen by {result.seen_by}, {day_words(result.seen_on or today)}"
        return f"{report}. Not seen yet; owner {result.owner}"
    if standing == "late":
        days = days_overdue(result.due_on, today)
        return f"Due {day_words(result.due_on)}, {days} day{'' if days == 1 else 's'} late; {waits}"
    return f"Due {day_words(result.due_on)}; {waits}"


def _rows() -> QuerySet[Any, Any]:
    return Result.objects.select_related("owner", "seen_by", "limb", "lesion__limb")


def results_of(today: date, **whose: Any) -> tuple[ResultRow, ...]:
    """All tests of a person or an ulcer (`person=` or `lesion=`), what asks first, then newest first (one
    query).
    """
    rows = [result_row(one, today) for one in _rows().filter(**whose)]
    return tuple(sorted(rows, key=lambda row: not row.asks))


def results_open(people: Iterable[int], today: date) -> dict[int, list[ResultRow]]:
    """By person, tests that are due, late, or arrived and not seen (one query)."""
    found: dict[int, list[ResultRow]] = {}
    rows = _rows().filter(person__in=people, seen_on=None, withdrawn_on=None).order_by("due_on", "pk")
    for one in rows:
        row = result_row(one, today)
        if row.asks:
            found.setdefault(one.person_id, []).append(row)
    return found
