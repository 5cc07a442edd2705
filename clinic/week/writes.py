"""A podiatrist's look at a lesion on the review list."""

from __future__ import annotations

from datetime import date

from django.db import transaction

from clinic.models import Lesion, ReviewNote, User
from clinic.record.errors import Conflict, Refused
from clinic.record.writes import audit
from clinic.record.writes.rows import store

__all__ = ["review_seen"]


@transaction.atomic
def review_seen(
    *, by: User, lesion: Lesion, concern: str, shown: str, may_be_seen: bool, note: str, seen_on: date
) -> ReviewNote:
    """Record that a lesion was looked at. ``concern`` is the list's now, ``shown`` the one on the page
    that was sent.
    """
    if not lesion.is_open:
        raise Refused("This lesion is no longer open; it is not on the list.")
    if not may_be_seen:
        raise Refused("A stop is not set aside by a note: answer the red flag or open the device.")
    if concern != shown:
        raise Conflict("The list says something else of this lesion now. Look again, then note it.")
    if not note.strip():
        raise Refused("Note: say in a few words what you saw or decided.", field="note")
    looked = store(ReviewNote(lesion=lesion, seen_on=seen_on, concern=concern, note=note.strip()), by=by)
    person = lesion.limb.person
    audit.record(by=by, site=person.site, verb="reviewed", target=looked, person=person, concern=concern)
    return looked
