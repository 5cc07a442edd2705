"""What every entry of a visit is held against: the person, the day, the lesions, the next date."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from uuid import UUID

from django.db.models import QuerySet
from django.utils import timezone

from clinic.models import (
    OPEN_STATES,
    SEALED,
    Attendance,
    Lesion,
    Person,
    Prescription,
    Visit,
    VisitState,
)
from clinic.record.dates import day_words
from clinic.record.errors import Refused
from clinic.record.lifecycle import person_allowed

__all__ = [
    "day_check",
    "free_day_check",
    "in_care_check",
    "key_used_for",
    "next_visit_check",
    "open_lesion_ids",
    "person_held",
    "sealed_devices",
]


def person_held(person: Person) -> Person:
    """The person's row as it is now, held until the end of the transaction."""
    return Person.objects.select_for_update(of=("self",)).select_related("site").get(pk=person.pk)


def key_used_for(key: UUID) -> int | None:
    """Number of the person whose visit a form with this key has stored already."""
    return Visit.objects.filter(submission_key=key).values_list("person_id", flat=True).first()


def open_lesion_ids(person: Person) -> set[int]:
    """Numbers of the lesions of a person that are open now."""
    rows = Lesion.objects.filter(limb__person=person, state__in=OPEN_STATES)
    return set(rows.values_list("pk", flat=True))


def in_care_check(person: Person) -> None:
    """Nothing is logged for somebody who has moved or died."""
    person_allowed(person, "care")


def day_check(person: Person, day: date) -> None:
    """A visit lies between the birth date and today."""
    today = timezone.localdate()
    if day > today:
        raise Refused(
            f"Date of the visit: {day_words(day)} lies in the future; today is {day_words(today)}.",
            field="visited_on",
        )
    if day < person.birth_date:
        raise Refused(
            f"Date of the visit: {day_words(day)} is before the birth date, {day_words(person.birth_date)}.",
            field="visited_on",
        )


def free_day_check(person: Person, lesions: Iterable[Lesion], day: date) -> None:
    """No lesion is measured before it was first seen, and a person has one visit a day."""
    for lesion in lesions:
        if day < lesion.first_seen_on:
            raise Refused(
                f"Date of the visit: {day_words(day)} is before ulcer {lesion.label} was first seen, "
                f"{day_words(lesion.first_seen_on)}.",
                field="visited_on",
            )
    same_day = Visit.objects.filter(
        person=person, state=VisitState.STANDS, attendance=Attendance.CAME, visited_on=day
    )
    if same_day.exists():
        raise Refused(
            f"Date of the visit: a visit of {day_words(day)} is recorded already; correct that one instead.",
            field="visited_on",
        )


def sealed_devices(person: Person) -> list[Prescription]:
    """Devices that are sealed on now, the one to open first in front."""
    return list(_sealed(person).select_related("limb__person__site"))


def _sealed(person: Person) -> QuerySet[Prescription]:
    return Prescription.objects.filter(SEALED, limb__person=person).order_by("open_by")


def next_visit_check(*, person: Person, visited_on: date, next_on: date | None, opened: bool = False) -> None:
    """Refuse a next date that is not after the visit, or after a sealed device must have been opened.
    `opened`: the sealed devices are opened at this visit.
    """
    if next_on is None:
        return
    if next_on <= visited_on:
        raise Refused(
            f"Next visit: {day_words(next_on)} is not after the visit of {day_words(visited_on)}.",
            field="next_on",
        )
    if opened:
        return
    for open_by, side in _sealed(person).values_list("open_by", "limb__side"):
        if open_by is not None and next_on > open_by:
            raise Refused(
                f"Next visit: {day_words(next_on)} is too late; the non-removable device on the {side} "
                f"foot must "
                f"be opened by {day_words(open_by)}. If it was opened at this visit, say so.",
                field="next_on",
            )
