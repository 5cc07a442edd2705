"""What is urgent, in one order for Today, Review and the digest."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, date, datetime, time

from django.utils import timezone

from clinic.alerts.reads.flags import flag_urgency
from clinic.guidelines.clocks import due_at
from clinic.models import Person, Site
from clinic.rules.reads.clocks import hours_of

__all__ = ["CALM", "URGENT", "Urgency", "flag_limit", "urgency", "urgent_order"]

#: Rank of what is urgent, and when its limit ends: the smaller, the sooner it is shown.
Urgency = tuple[int, datetime]
#: Messages that make a row urgent, the worst first. The order is a design choice: what may threaten the leg
#: or the patient; a device that hides the foot; help that was asked for and has not come; the rest.
URGENT = (
    "answer_flag",
    "open_sealed_now",
    "settle_sealed_left",
    "reach_referral",
    "answer_call_now",
    "escalate_contact",
    "confirm_second_now",
)
_LAST = datetime.max.replace(tzinfo=UTC)
#: Of what is not urgent.
CALM: Urgency = (len(URGENT), _LAST)


def urgency(message: str, limit: date | datetime | None) -> Urgency:
    """Where an urgent thing stands: by its kind, then the longest past its limit; a day is one to its end."""
    if limit is not None and not isinstance(limit, datetime):
        limit = timezone.make_aware(datetime.combine(limit, time.max))
    return URGENT.index(message), limit or _LAST


def flag_limit(raised_at: datetime, flags: Iterable[str], site: Site) -> datetime:
    """Until when a red flag is to be answered."""
    return due_at(raised_at, flag_urgency(flags), hours_of(site))


def urgent_order(of: Urgency, person: Person) -> tuple[int, datetime, str, str, int]:
    """The order of people with something urgent."""
    return (*of, person.family_name, person.given_name, person.pk)
