"""What is still open of an invented person who left."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

from clinic.case.writes.settling import LineEnd, person_settle
from clinic.models import DeviceLeft, Person, User
from clinic.people.reads.left_open import open_things

__all__ = ["settle"]

WAYS = {
    "device": LineEnd("", DeviceLeft.TAKEN_OFF, "by the district's nurse"),
    "plan": LineEnd("", words="care here ended"),
}


def settle(person: Person, day: date, *, by: User) -> None:
    """Settle it the same day: nothing of it waits on Today."""
    still = open_things(person)
    if still:
        ends = [replace(WAYS[thing.kind], key=thing.key) for thing in still]
        person_settle(by=by, person=person, on=day, ends=ends)
