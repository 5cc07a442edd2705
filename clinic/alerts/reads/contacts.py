"""Reading attempts to reach a person."""

from __future__ import annotations

from dataclasses import dataclass

from django.utils import timezone

from clinic.guidelines.clocks import Attempt, Clock, attempts_clock
from clinic.models import Contact, ContactResult, Person, Visit, VisitState

__all__ = ["ContactSheet", "contact_sheet"]

SHOWN = 10


@dataclass(frozen=True)
class ContactSheet:
    """What one wants to see before calling: the numbers, the last visit, the attempts since."""

    person: Person
    latest: Visit | None
    attempts: tuple[Contact, ...]

    @property
    def clock(self) -> Clock:
        """How the attempts since the latest entry stand."""
        tries = [Attempt(one.tried_at, one.result == ContactResult.REACHED) for one in self.attempts]
        since = self.latest.visited_on if self.latest is not None else None
        limit = self.person.site.attempts_before_escalation
        return attempts_clock(tries, since, limit, timezone.get_current_timezone())


def contact_sheet(person: Person) -> ContactSheet:
    """The contact sheet of a person (two queries)."""
    latest = person.visits.filter(state=VisitState.STANDS).order_by("-visited_on", "-pk").first()
    attempts = person.contacts.standing().select_related("created_by").order_by("-tried_at", "-pk")[:SHOWN]
    return ContactSheet(person, latest, tuple(attempts))
