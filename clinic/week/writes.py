"""A podiatrist's look at a lesion on the review list, and the marks of a day on Today."""

from __future__ import annotations

from datetime import date

from django.db import transaction
from django.utils import timezone

from clinic.models import DayMark, Lesion, MarkKind, Person, ReviewNote, User
from clinic.record.errors import Conflict, Refused
from clinic.record.writes import audit
from clinic.record.writes.rows import store
from clinic.record.writes.withdrawing import withdraw

__all__ = ["mark_set", "mark_take_back", "review_seen"]


@transaction.atomic
def review_seen(
    *, by: User, lesion: Lesion, concern: str, shown: str, may_be_seen: bool, note: str, seen_on: date
) -> ReviewNote:
    """Record that a lesion was looked at. ``concern`` is the list's now, ``shown`` the one on the page
    that was sent.
    """
    if not lesion.is_open:
        raise Refused("This ulcer is no longer open; it is not on the list.")
    if not may_be_seen:
        raise Refused("What is urgent is not set aside by a note: answer the red flag or open the device.")
    if concern != shown:
        raise Conflict("The list says something else of this ulcer now. Look again, then note it.")
    if not note.strip():
        raise Refused("Note: say in a few words what you saw or decided.", field="note")
    looked = store(ReviewNote(lesion=lesion, seen_on=seen_on, concern=concern, note=note.strip()), by=by)
    person = lesion.limb.person
    audit.record(by=by, site=person.site, verb="reviewed", target=looked, person=person, concern=concern)
    return looked


def _marks(person: Person, kind: str) -> list[DayMark]:
    """The standing marks of this kind today, the person locked: two presses at once set one mark."""
    if kind not in MarkKind.values:
        raise Refused(f"Mark: {kind[:20]!r} is none of arrived, in room, left.", field="mark")
    Person.objects.select_for_update().only("pk").get(pk=person.pk)
    return list(DayMark.objects.standing().filter(person=person, day=timezone.localdate(), kind=kind))


@transaction.atomic
def mark_set(*, by: User, person: Person, kind: str) -> DayMark:
    """Mark a person as arrived, in a room or left, now. A mark that stands keeps its time; nothing else is
    implied by it.
    """
    standing = _marks(person, kind)
    if standing:
        return standing[0]
    now = timezone.now()
    mark = store(DayMark(person=person, day=timezone.localdate(now), kind=kind, marked_at=now), by=by)
    audit.record(by=by, site=person.site, verb="marked", target=mark, person=person, kind=kind)
    return mark


@transaction.atomic
def mark_take_back(*, by: User, person: Person, kind: str) -> None:
    """Take back a mark of today; one that does not stand any more is no fault."""
    for mark in _marks(person, kind):
        withdraw(mark, by=by, reason="taken back on Today")
        audit.record(by=by, site=person.site, verb="took back", target=mark, person=person, kind=kind)
