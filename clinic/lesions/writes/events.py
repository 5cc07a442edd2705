"""Events that mark a healing curve."""

from __future__ import annotations

from datetime import date

from django.db import transaction

from clinic.models import Event, EventKind, Lesion, User
from clinic.record.errors import Refused
from clinic.record.writes import audit
from clinic.record.writes.rows import store

__all__ = ["event_add"]

#: What concerns the whole limb stands on the curve of every lesion of that limb.
OF_THE_LIMB = (
    EventKind.REVASCULARISATION,
    EventKind.ADMISSION,
    EventKind.FALL,
    EventKind.DEVICE_BROKEN,
    EventKind.INSOLE_REPLACED,
)


@transaction.atomic
def event_add(*, by: User, lesion: Lesion, kind: str, happened_on: date, note: str = "") -> Event:
    """Record something that happened to a lesion, or to its limb."""
    person = lesion.limb.person
    if happened_on < person.birth_date:
        raise Refused("On: lies before the person's birth.", field="happened_on")
    event = store(
        Event(
            limb=lesion.limb,
            lesion=None if kind in OF_THE_LIMB else lesion,
            kind=kind,
            happened_on=happened_on,
            note=note,
        ),
        by=by,
    )
    audit.record(by=by, site=person.site, verb="recorded", target=event, person=person, kind=kind)
    return event
