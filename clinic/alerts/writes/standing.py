"""A standing danger past an urgent line raises its red flag by itself, once."""

from __future__ import annotations

from collections.abc import Collection

from django.db import transaction
from django.utils import timezone

from clinic.alerts.writes.flags import flag_raise
from clinic.evidence.reads.raising import dangers_unraised
from clinic.models import Person, RedFlag, User, Visit
from clinic.record.lifecycle import may_happen, person_state

__all__ = ["dangers_raise"]


@transaction.atomic
def dangers_raise(
    *, by: User, person: Person, visit: Visit | None = None, ticked: Collection[str] = ()
) -> RedFlag | None:
    """Raise what the record holds and no flag speaks of yet; called in the transaction of the finding.

    Nothing is raised about somebody who moved or died, whose record is only corrected: it would stand
    nowhere.
    """
    if not may_happen("person", person_state(person), "care"):
        return None
    found = dangers_unraised(person, timezone.localdate(), ticked)
    if not found:
        return None
    return flag_raise(
        by=by,
        person=person,
        flags=[one.flag for one in found],
        visit=visit,
        from_record={one.danger: one.level for one in found},
    )
