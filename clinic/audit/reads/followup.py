"""How lesions ended and until when they are known: the one reading of it for outcomes and for past
forecasts.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from django.db.models import Max

from clinic.healing.cohort import Ending
from clinic.models import Attendance, Lesion, LesionOutcome, LesionState, PersonState, Visit, VisitState

__all__ = ["FollowUp", "follow_ups"]

_ENDINGS = {
    LesionOutcome.HEALED: Ending.HEALED,
    LesionOutcome.MINOR_AMPUTATION: Ending.AMPUTATION,
    LesionOutcome.MAJOR_AMPUTATION: Ending.AMPUTATION,
    LesionOutcome.DIED: Ending.DEATH,
    LesionOutcome.MOVED: Ending.LOST,
    LesionOutcome.LOST: Ending.LOST,
    # Followed until it joined the other one, whose own end counts.
    LesionOutcome.JOINED: Ending.LOST,
}


@dataclass(frozen=True)
class FollowUp:
    """Ending, its day (None for open and lost), and the last day the lesion's state is known."""

    ending: Ending
    ended: date | None
    last_seen: date


def follow_ups(lesions: Iterable[Lesion], today: date) -> dict[int, FollowUp]:
    """Endings of lesions read with ``limb__person``; one query, keyed by lesion."""
    wanted = list(lesions)
    visits: dict[int, date] = dict(
        Visit.objects.filter(
            person__in={lesion.limb.person_id for lesion in wanted},
            state=VisitState.STANDS,
            attendance=Attendance.CAME,
            visited_on__lte=today,
        )
        .order_by()
        .values_list("person_id")
        .annotate(Max("visited_on"))
    )
    return {lesion.pk: _one(lesion, visits.get(lesion.limb.person_id)) for lesion in wanted}


def _one(lesion: Lesion, visit: date | None) -> FollowUp:
    person = lesion.limb.person
    ending, ended = Ending.OPEN, None
    if lesion.state == LesionState.HEALED:
        # Healed counts on the day it was found closed, once that was confirmed.
        ending, ended = Ending.HEALED, lesion.closed_on
    elif lesion.state == LesionState.ENDED:
        ending = _ENDINGS.get(LesionOutcome(lesion.outcome), Ending.LOST)
        ended = lesion.ended_on if ending is not Ending.LOST else None
    elif person.state == PersonState.DIED:
        ending, ended = Ending.DEATH, person.state_on
    elif person.state != PersonState.IN_CARE:
        ending = Ending.LOST
    if ended is None and ending in (Ending.HEALED, Ending.AMPUTATION, Ending.DEATH):
        ending = Ending.LOST
    known = [day for day in (lesion.first_seen_on, visit, ended, lesion.confirmed_on) if day is not None]
    # A visit after the ending says nothing more of this lesion.
    return FollowUp(ending, ended, ended if ended is not None else max(known))
