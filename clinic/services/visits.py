"""Logging a weekly visit, correcting it, and saying that one did not take place."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from uuid import UUID

from django.db import IntegrityError, transaction
from django.utils import timezone
from django.utils.formats import date_format

from clinic.models import (
    NON_REMOVABLE,
    Attendance,
    Lesion,
    LesionState,
    Measurement,
    Person,
    PersonState,
    Prescription,
    User,
    Visit,
    VisitState,
    Weight,
)

from . import audit
from .errors import Refused
from .flags import flags_at_visit
from .measurement import LesionFindings, flags_in, measurement_fill
from .photos import photo_store
from .prescriptions import prescription_open
from .records import store
from .watch import plans_review, watch_found

__all__ = [
    "COLUMNS",
    "Logged",
    "PersonFindings",
    "answers_check",
    "day_check",
    "free_day_check",
    "measurement_store",
    "next_visit_check",
    "sealed_devices",
    "visit_fill",
    "visit_log",
    "visit_missed",
]

OPEN = (LesionState.OPEN, LesionState.TO_CONFIRM)


@dataclass(frozen=True)
class PersonFindings:
    """What is asked once per person at a visit; None or empty was not asked."""

    visited_on: date
    next_on: date | None
    red_flags: tuple[str, ...] = ()
    flag_answer: str = ""
    flag_answer_note: str = ""
    pain: str = ""
    fall: bool | None = None
    other_foot: str = ""
    other_foot_note: str = ""
    skin_under_device: str = ""
    skin_note: str = ""
    device_condition: str = ""
    wear: str = ""
    why_not_worn: str = ""
    dressing: str = ""
    note: str = ""
    weight_kg: Decimal | None = None
    weight_how: str = ""
    device_opened: bool = False
    watch: Mapping[int, str] = field(default_factory=dict)


#: Fields of `PersonFindings` that are columns of the visit itself.
COLUMNS = (
    "visited_on",
    "next_on",
    "pain",
    "fall",
    "other_foot",
    "other_foot_note",
    "skin_under_device",
    "skin_note",
    "device_condition",
    "wear",
    "why_not_worn",
    "dressing",
    "note",
)


@dataclass(frozen=True)
class Logged:
    """A stored visit, and whether this call stored it or an earlier one with the same key did."""

    visit: Visit
    new: bool


def visit_log(
    *,
    by: User,
    person: Person,
    submission_key: UUID,
    found: PersonFindings,
    lesions: Iterable[LesionFindings],
) -> Logged:
    """Store a visit with everything found at it, once: the same key sent again finds the first one's visit."""
    try:
        with transaction.atomic():
            return _log(by, person, submission_key, found, list(lesions))
    except IntegrityError:
        # Two requests with one key passed the look-up together; the database kept the first.
        first = Visit.objects.filter(submission_key=submission_key, person=person).first()
        if first is None:
            raise
        return Logged(first, new=False)


def _log(by: User, person: Person, key: UUID, found: PersonFindings, lesions: list[LesionFindings]) -> Logged:
    # One writer per person: the second of two equal requests waits here and then finds the first one's row.
    person = Person.objects.select_for_update(of=("self",)).select_related("site").get(pk=person.pk)
    stored = Visit.objects.filter(submission_key=key).first()
    if stored is not None:
        if stored.person_id != person.pk:
            raise Refused("This form was already used for another person; open a new one.")
        return Logged(stored, new=False)
    in_care_check(person)
    day_check(person, found.visited_on)
    answers_check(found)
    _check_lesions(person, found.visited_on, lesions)
    if found.next_on is None and lesions:
        raise Refused("Next visit: no date given; a person with an open lesion needs one.", field="next_on")
    if found.device_opened:
        _open_devices(by, person, found.visited_on)
    next_visit_check(person=person, visited_on=found.visited_on, next_on=found.next_on)

    visit = Visit(person=person, attendance=Attendance.CAME, submission_key=key)
    visit_fill(visit, found)
    _store_new(visit, by)
    flags = set(found.red_flags)
    for one in lesions:
        row = Measurement(visit=visit, lesion=one.lesion)
        measurement_store(row, one, by=by)
        flags |= flags_in(row, bone_before=_bone_before(row))
    if found.weight_kg is not None:
        _store_weight(person, found.weight_kg, found, by)
    watch_found(by=by, visit=visit, answers=found.watch)
    plans_review(by=by, person=person, day=found.visited_on)
    flags_at_visit(
        by=by, visit=visit, flags=flags, answer=found.flag_answer, note=found.flag_answer_note.strip()
    )
    for one in lesions:
        if one.photo is not None:
            _store_photo(visit, one, by)
    audit.record(
        by=by,
        site=person.site,
        verb="logged",
        target=visit,
        person=person,
        lesions=[one.lesion.pk for one in lesions],
        weighed=found.weight_kg is not None,
        device_opened=found.device_opened,
    )
    return Logged(visit, new=True)


def in_care_check(person: Person) -> None:
    """Nothing is logged for somebody who has moved or died."""
    if person.state != PersonState.IN_CARE:
        raise Refused(f"{person.full_name} is no longer in care here ({person.get_state_display().lower()}).")


def day_check(person: Person, day: date) -> None:
    """A visit lies between the birth date and today."""
    today = timezone.localdate()
    if day > today:
        raise Refused(
            f"Date of the visit: {_day(day)} lies in the future; today is {_day(today)}.", field="visited_on"
        )
    if day < person.birth_date:
        raise Refused(
            f"Date of the visit: {_day(day)} is before the birth date, {_day(person.birth_date)}.",
            field="visited_on",
        )


def _check_lesions(person: Person, day: date, lesions: list[LesionFindings]) -> None:
    """Every open lesion of this person once, and none of anybody else."""
    told = [one.lesion.pk for one in lesions]
    open_now = dict(Lesion.objects.filter(limb__person=person, state__in=OPEN).values_list("pk", "label"))
    if set(told) != set(open_now) or len(told) != len(set(told)):
        raise Refused("The open lesions have changed since this page was opened; look again before saving.")
    free_day_check(person, [one.lesion for one in lesions], day)


def free_day_check(person: Person, lesions: Iterable[Lesion], day: date) -> None:
    """No lesion is measured before it was first seen, and a person has one visit a day."""
    for lesion in lesions:
        if day < lesion.first_seen_on:
            raise Refused(
                f"Date of the visit: {_day(day)} is before lesion {lesion.label} was first seen, "
                f"{_day(lesion.first_seen_on)}.",
                field="visited_on",
            )
    same_day = person.visits.filter(state=VisitState.STANDS, attendance=Attendance.CAME, visited_on=day)
    if same_day.exists():
        raise Refused(
            f"Date of the visit: a visit of {_day(day)} is recorded already; correct that one instead.",
            field="visited_on",
        )


def answers_check(found: PersonFindings) -> None:
    if found.wear in ("few", "none") and not found.why_not_worn.strip():
        raise Refused(
            "Why not worn: missing; it is asked when few or no steps were in the device.",
            field="why_not_worn",
        )
    if (found.weight_kg is None) != (not found.weight_how):
        field = "weight_kg" if found.weight_kg is None else "weight_how"
        raise Refused("Weight: both the kilograms and how it was weighed are needed.", field=field)


def sealed_devices(person: Person) -> list[Prescription]:
    """Devices that are sealed on now, the one to open first in front."""
    return list(
        Prescription.objects.filter(
            limb__person=person,
            stopped_on=None,
            sealed_on__isnull=False,
            opened_on=None,
            device_class__in=NON_REMOVABLE,
        )
        .select_related("limb__person__site")
        .order_by("open_by")
    )


def next_visit_check(*, person: Person, visited_on: date, next_on: date | None) -> None:
    """Refuse a next date that is not after the visit, or after a sealed device must have been opened."""
    if next_on is None:
        return
    if next_on <= visited_on:
        raise Refused(
            f"Next visit: {_day(next_on)} is not after the visit of {_day(visited_on)}.", field="next_on"
        )
    for device in sealed_devices(person):
        if device.open_by is not None and next_on > device.open_by:
            raise Refused(
                f"Next visit: {_day(next_on)} is too late; the sealed device on the {device.limb.side} foot must "
                f"be opened by {_day(device.open_by)}. If it was opened at this visit, say so.",
                field="next_on",
            )


def _open_devices(by: User, person: Person, day: date) -> None:
    devices = sealed_devices(person)
    # All rows first: the audit chain is locked from the first opening on, and nobody may wait for us behind it.
    list(Prescription.objects.select_for_update().filter(pk__in=[device.pk for device in devices]))
    for device in devices:
        try:
            prescription_open(by=by, prescription=device, opened_on=day, expected_version=device.version)
        except Refused as refused:
            raise Refused(refused.message, field="device_opened") from refused


def visit_fill(visit: Visit, found: PersonFindings) -> None:
    for column in COLUMNS:
        value = getattr(found, column)
        setattr(visit, column, value.strip() if isinstance(value, str) else value)


def _store_new(visit: Visit, by: User) -> None:
    """Store a new visit; a key already taken is the database's refusal, not a fault of the form."""
    try:
        store(visit, by=by)
    except Refused as refused:
        if refused.field == "submission_key":
            raise IntegrityError(refused.message) from refused
        raise


def _for_lesion(refused: Refused, lesion: Lesion) -> Refused:
    """The same refusal, tied to the field of this lesion's part of the form."""
    field = None if refused.field is None else f"lesion-{lesion.pk}-{refused.field}"
    message = refused.message if field else f"Lesion {lesion.label}: {refused.message}"
    return Refused(message, field=field)


def _earlier_of(row: Measurement) -> Measurement | None:
    """The last measured area of this lesion before this row's visit."""
    return (
        Measurement.objects.filter(
            lesion=row.lesion_id,
            visit__state=VisitState.STANDS,
            visit__visited_on__lt=row.visit.visited_on,
            area_mm2__isnull=False,
        )
        .order_by("-visit__visited_on", "-pk")
        .first()
    )


def measurement_store(row: Measurement, one: LesionFindings, *, by: User, why: str = "") -> bool:
    """Put findings on a row and save it, unless a stored row says the same already."""
    before = _values(row)
    try:
        measurement_fill(row, one, _earlier_of(row))
        if row.pk is not None and _values(row) == before:
            return False
        store(row, by=by, expected_version=one.version, why=why)
    except Refused as refused:
        raise _for_lesion(refused, one.lesion) from refused
    return True


def _bone_before(row: Measurement) -> bool:
    return Measurement.objects.filter(
        lesion=row.lesion_id,
        visit__state=VisitState.STANDS,
        visit__visited_on__lt=row.visit.visited_on,
        probe_to_bone=True,
    ).exists()


def _values(row: Measurement) -> dict[str, object]:
    skipped = ("id", "version", "created_at", "created_by")
    return {f.attname: getattr(row, f.attname) for f in row._meta.concrete_fields if f.name not in skipped}


def _store_photo(visit: Visit, one: LesionFindings, by: User) -> None:
    assert one.photo is not None
    try:
        photo_store(by=by, lesion=one.lesion, visit=visit, taken_on=visit.visited_on, upload=one.photo)
    except Refused as refused:
        raise _for_lesion(refused, one.lesion) from refused


def _store_weight(person: Person, kg: Decimal, found: PersonFindings, by: User) -> None:
    weight = Weight(person=person, measured_on=found.visited_on, kg=kg, how=found.weight_how)
    try:
        store(weight, by=by)
    except Refused as refused:
        raise Refused(
            f"Weight: {refused.message}", field="weight_how" if refused.field == "how" else "weight_kg"
        ) from refused


@transaction.atomic
def visit_missed(
    *,
    by: User,
    person: Person,
    submission_key: UUID,
    day: date,
    attendance: str,
    why_not: str = "",
    next_on: date | None = None,
) -> Logged:
    """Say that a visit did not take place, why, and when the next one is."""
    person = Person.objects.select_for_update(of=("self",)).select_related("site").get(pk=person.pk)
    stored = Visit.objects.filter(submission_key=submission_key, person=person).first()
    if stored is not None:
        return Logged(stored, new=False)
    if attendance not in Attendance.values or attendance == Attendance.CAME:
        raise Refused(f"What happened: {attendance or 'nothing'} is not one of the list.", field="attendance")
    in_care_check(person)
    day_check(person, day)
    next_visit_check(person=person, visited_on=day, next_on=next_on)
    visit = Visit(
        person=person,
        visited_on=day,
        attendance=attendance,
        why_not=why_not.strip(),
        next_on=next_on,
        submission_key=submission_key,
    )
    store(visit, by=by)
    audit.record(by=by, site=person.site, verb="missed", target=visit, person=person, attendance=attendance)
    return Logged(visit, new=True)


def _day(day: date) -> str:
    return date_format(day, "DATE_FORMAT")
