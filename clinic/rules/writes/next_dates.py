"""The next date of a person, carried by the latest standing visit."""

from __future__ import annotations

from datetime import date

from clinic.models import Person, User, VisitState
from clinic.record.writes.rows import store

__all__ = ["next_date_no_later_than"]


def next_date_no_later_than(*, by: User, person: Person, open_by: date, review_on: date, why: str) -> None:
    """Bring the next date forward to a review when it is missing or lies after a sealed device must be
    opened.
    """
    latest = person.visits.filter(state=VisitState.STANDS).order_by("-visited_on", "-pk").first()
    if latest is None or latest.visited_on >= review_on:
        return
    if latest.next_on is None or latest.next_on > open_by:
        latest.next_on = review_on
        store(latest, by=by, why=why)
