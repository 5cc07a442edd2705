"""Who is in the building: the marks of one day at a clinic."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from clinic.models import DayMark, MarkKind, PersonState, Site

__all__ = ["MarkShown", "is_here", "marks_of_day", "marks_shown"]


@dataclass(frozen=True)
class MarkShown:
    """One of the three marks of a row: set, with its time and who set it, or to be set."""

    kind: str
    words: str
    mark: DayMark | None


def marks_of_day(site: Site, day: date, person: int | None = None) -> dict[int, list[DayMark]]:
    """The marks that stand of that day, by person (one query)."""
    rows = DayMark.objects.standing().filter(
        day=day, person__site=site, person__state=PersonState.IN_CARE, person__restricted_on=None
    )
    if person is not None:
        rows = rows.filter(person=person)
    found: dict[int, list[DayMark]] = defaultdict(list)
    for mark in rows.select_related("created_by"):
        found[mark.person_id].append(mark)
    return dict(found)


def marks_shown(marks: Iterable[DayMark]) -> tuple[MarkShown, ...]:
    """All three in their order; of two marks of a kind the earlier."""
    first: dict[str, DayMark] = {}
    for mark in marks:
        first.setdefault(mark.kind, mark)
    return tuple(MarkShown(kind.value, kind.label, first.get(kind.value)) for kind in MarkKind)


def is_here(marks: Iterable[DayMark]) -> bool:
    """Whether somebody came and has not left."""
    kinds = {mark.kind for mark in marks}
    return bool(kinds) and MarkKind.LEFT not in kinds
