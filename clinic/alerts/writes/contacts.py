"""Attempts to reach a person, and the next date agreed on the way."""

from __future__ import annotations

from datetime import date

from django.db import transaction
from django.utils import timezone

from clinic.models import Contact, Person, User, VisitState
from clinic.record.errors import Refused
from clinic.record.lifecycle import person_allowed
from clinic.record.writes import audit
from clinic.record.writes.rows import store
from clinic.rules.writes.visit_checks import next_visit_check

__all__ = ["contact_log"]


@transaction.atomic
def contact_log(
    *, by: User, person: Person, how: str, result: str, note: str = "", next_on: date | None = None
) -> Contact:
    """Record an attempt made now; a next date agreed in it replaces that of the latest visit."""
    contact = Contact(person=person, tried_at=timezone.now(), how=how, result=result, note=note.strip())
    if next_on is not None:
        contact.next_on, contact.next_was = next_on, _agree(by, person, next_on)
    store(contact, by=by)
    audit.record(
        by=by,
        site=person.site,
        verb="tried to reach",
        target=contact,
        person=person,
        result=result,
        next_on=next_on,
    )
    return contact


def _agree(by: User, person: Person, next_on: date) -> date | None:
    """Put the date on the latest visit; the one it carried before."""
    person_allowed(person, "care")
    latest = person.visits.filter(state=VisitState.STANDS).order_by("-visited_on", "-pk").first()
    if latest is None:
        raise Refused(
            "Next visit: this patient has no visit yet that could carry a next date; log the first one.",
            field="next_on",
        )
    today = timezone.localdate()
    if next_on < today:
        raise Refused(f"Next visit: {next_on:%-d %b %Y} is already past.", field="next_on")
    next_visit_check(person=person, visited_on=latest.visited_on, next_on=next_on)
    before: date | None = latest.next_on
    latest.next_on = next_on
    store(latest, by=by, why="next date agreed in a contact")
    return before
