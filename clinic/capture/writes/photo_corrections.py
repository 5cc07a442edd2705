"""Correcting what is written beside a photo, and withdrawing a photo."""

from __future__ import annotations

from datetime import date

from django.db import transaction
from django.utils import timezone
from django.utils.formats import date_format

from clinic.models import Photo, User
from clinic.record.errors import Refused, words_needed
from clinic.record.writes import audit
from clinic.record.writes.rows import store
from clinic.record.writes.withdrawing import standing_check, withdraw

__all__ = ["photo_correct", "photo_withdraw"]


@transaction.atomic
def photo_correct(
    *, by: User, photo: Photo, taken_on: date, note: str, reason: str, expected_version: int
) -> Photo:
    """Correct the day or the note; the day of a visit's photo is the visit's."""
    standing_check(photo)
    if photo.visit is not None and taken_on != photo.taken_on:
        raise Refused(
            f"Taken on: this photo belongs to the visit of {date_format(photo.taken_on)}; correct the day of "
            "the visit, and its photo goes along.",
            field="taken_on",
        )
    if taken_on > timezone.localdate():
        raise Refused(
            f"Taken on: {date_format(taken_on)} lies in the future; today is "
            f"{date_format(timezone.localdate())}.",
            field="taken_on",
        )
    photo.taken_on, photo.note = taken_on, note.strip()
    why = words_needed(reason, "reason")
    store(photo, by=by, expected_version=expected_version, why=why[:100])
    person = photo.lesion.limb.person
    audit.record(by=by, site=person.site, verb="corrected", target=photo, person=person, reason=why)
    return photo


@transaction.atomic
def photo_withdraw(*, by: User, photo: Photo, reason: str, expected_version: int | None = None) -> Photo:
    """Take a photo out of the row: it is measured and shown no more, and stays to be seen with its reason."""
    withdraw(photo, by=by, reason=reason, expected_version=expected_version)
    person = photo.lesion.limb.person
    audit.record(by=by, site=person.site, verb="withdrew", target=photo, person=person, reason=reason.strip())
    return photo
