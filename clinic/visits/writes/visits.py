"""Logging a weekly visit, correcting it, and saying that one did not take place."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, fields
from datetime import date, time
from decimal import Decimal
from uuid import UUID

from django.db import IntegrityError, transaction

from clinic.alerts.reads.known import feet_standing, not_owned
from clinic.alerts.writes.flags import FlagOutcome, flags_raised
from clinic.alerts.writes.standing import dangers_raise
from clinic.capture.writes.measurement import LesionFindings, flags_in
from clinic.capture.writes.photos import photo_store
from clinic.devices.writes.wear import prescription_open
from clinic.lesions.states import ulcer_allowed
from clinic.lesions.writes.closure import closures_contradicted
from clinic.models import (
    Attendance,
    Measurement,
    Person,
    Prescription,
    User,
    Visit,
    VisitFindings,
    VisitState,
    Weight,
)
from clinic.record.errors import Refused
from clinic.record.writes import audit
from clinic.record.writes.rows import store
from clinic.relief.writes.watch import plans_review, watch_found
from clinic.rules.writes.visit_checks import (
    day_check,
    free_day_check,
    in_care_check,
    key_used_for,
    next_visit_check,
    open_lesion_ids,
    person_held,
    sealed_devices,
)
from clinic.visits.states import visit_allowed
from clinic.visits.writes.answers import (
    missed_check,
    next_details_check,
    next_given_check,
    weighed_check,
    why_not_worn_check,
)
from clinic.visits.writes.measured import for_lesion, measurement_store

__all__ = [
    "COLUMNS",
    "Logged",
    "PersonFindings",
    "answers_check",
    "devices_open",
    "store_weight",
    "visit_fill",
    "visit_finish",
    "visit_log",
    "visit_missed",
]

CHANGED = "The open ulcers have changed since this page was opened; look again before saving."


#: The answers that are columns of the visit itself.
COLUMNS = tuple(column.name for column in fields(VisitFindings))


@dataclass(frozen=True, kw_only=True)
class PersonFindings(VisitFindings):
    """All that is asked once per person: the visit's own columns, and what is stored in rows beside it."""

    red_flags: tuple[str, ...] = ()
    flag_answer: str = ""
    flag_answer_note: str = ""
    flag_under: str = ""
    flag_until: date | None = None
    weight_kg: Decimal | None = None
    weight_how: str = ""
    device_opened: bool = False
    #: Begun here and left for somebody else to finish: lesions and the next date may be missing.
    unfinished: bool = False
    watch: Mapping[int, str] = field(default_factory=dict)
    #: Questions about typed values that were answered "as typed", in words.
    confirmed: tuple[str, ...] = ()

    @property
    def flag_outcome(self) -> FlagOutcome:
        return FlagOutcome(self.flag_answer, self.flag_answer_note, self.flag_under, self.flag_until)


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
    from_paper: bool = False,
) -> Logged:
    """Store a visit with everything found at it, once: the same key sent again finds the first one's
    visit. `from_paper`: it was written on paper first and is entered afterwards.
    """
    try:
        with transaction.atomic():
            return _log(by, person, submission_key, found, list(lesions), from_paper)
    except IntegrityError:
        # Two requests with one key passed the look-up together; the database kept the first.
        first = Visit.objects.filter(submission_key=submission_key, person=person).first()
        if first is None:
            raise
        return Logged(first, new=False)


def _log(
    by: User,
    person: Person,
    key: UUID,
    found: PersonFindings,
    lesions: list[LesionFindings],
    from_paper: bool,
) -> Logged:
    # One writer per person: the second of two equal requests waits here and then finds the first one's row.
    person = person_held(person)
    used_for = key_used_for(key)
    if used_for is not None:
        if used_for != person.pk:
            raise Refused("This form was already used for another patient; open a new one.")
        return Logged(Visit.objects.get(submission_key=key), new=False)
    in_care_check(person)
    day_check(person, found.visited_on)
    answers_check(found)
    open_now = open_lesion_ids(person)
    _check_lesions(person, found, lesions, open_now)
    _check_next(found)
    visit = Visit(person=person, attendance=Attendance.CAME, submission_key=key, unfinished=found.unfinished)
    visit.from_paper = from_paper
    visit.confirmed_as_typed = list(found.confirmed)
    next_visit_check(
        person=person, visited_on=found.visited_on, next_on=found.next_on, opened=found.device_opened
    )
    visit_fill(visit, found)
    _store_new(visit, by)
    if found.device_opened:
        devices_open(by=by, visit=visit)
    _keep(by, visit, found, lesions, raised=set())
    audit.record(
        by=by,
        site=person.site,
        verb="began" if found.unfinished else "logged",
        target=visit,
        person=person,
        lesions=[one.lesion.pk for one in lesions],
        weighed=found.weight_kg is not None,
        device_opened=found.device_opened,
        from_paper=from_paper,
        confirmed=len(found.confirmed),
    )
    return Logged(visit, new=True)


def _check_lesions(
    person: Person, found: PersonFindings, lesions: list[LesionFindings], open_now: set[int]
) -> None:
    """Every open lesion of this person once, and none of anybody else; fewer where the rest is left."""
    for one in lesions:
        ulcer_allowed(one.lesion, "measure")
    findings = [one.lesion.pk for one in lesions]
    whole = set(findings) <= open_now if found.unfinished else set(findings) == open_now
    if not whole or len(findings) != len(set(findings)):
        raise Refused(CHANGED)
    free_day_check(person, [one.lesion for one in lesions], found.visited_on)


def _check_next(found: PersonFindings) -> None:
    next_given_check(
        next_on=found.next_on, no_next_because=found.no_next_because, needed=not found.unfinished
    )
    next_details_check(next_on=found.next_on, next_at=found.next_at, transport=found.transport)


def _keep(
    by: User, visit: Visit, found: PersonFindings, lesions: list[LesionFindings], raised: set[str]
) -> None:
    """Everything found at a visit beside its own columns; flags raised at it before are not raised twice."""
    by_findings: set[str] = set()
    for one in lesions:
        row = Measurement(visit=visit, lesion=one.lesion)
        measurement_store(row, one, by=by)
        _take_photo(row, by)
        by_findings |= flags_in(row, bone_before=bool(row.probe_to_bone) and _bone_before(row))
    if found.weight_kg is not None:
        store_weight(visit, found.weight_kg, found, by)
    closures_contradicted(by=by, person=visit.person)
    watch_found(by=by, visit=visit, answers=found.watch)
    plans_review(by=by, person=visit.person, day=found.visited_on, visit=visit)
    if by_findings:
        by_findings = not_owned(by_findings, feet_standing(visit.person, found.visited_on))
    flags = (set(found.red_flags) | by_findings) - raised
    flags_raised(by=by, person=visit.person, flags=flags, outcome=found.flag_outcome, visit=visit)
    dangers_raise(by=by, person=visit.person, visit=visit, ticked=flags)
    for one in lesions:
        if one.photo is not None:
            _store_photo(visit, one, by)


@transaction.atomic
def visit_finish(
    *,
    by: User,
    visit: Visit,
    found: PersonFindings,
    lesions: Iterable[LesionFindings],
    expected_version: int,
) -> Visit:
    """Add what was left of a begun visit; what stands already is not touched, each part keeps who found
    it.
    """
    findings = list(lesions)
    held = Visit.objects.select_for_update(of=("self",)).select_related("person__site").get(pk=visit.pk)
    visit_allowed(held, "finish")
    answers_check(found)
    open_now = open_lesion_ids(held.person)
    for one in findings:
        ulcer_allowed(one.lesion, "measure")
    left = open_now - set(held.measurements.values_list("lesion_id", flat=True))
    if {one.lesion.pk for one in findings} != left:
        raise Refused(CHANGED)
    _check_next(found)
    if found.device_opened:
        devices_open(by=by, visit=held)
    next_visit_check(person=held.person, visited_on=held.visited_on, next_on=found.next_on)
    visit_fill(held, found)
    held.unfinished = False
    held.confirmed_as_typed = [*held.confirmed_as_typed, *found.confirmed]
    store(held, by=by, expected_version=expected_version, why="finished")
    raised = {flag for row in held.red_flags.standing() for flag in row.flags}
    _keep(by, held, found, findings, raised)
    audit.record(
        by=by,
        site=held.person.site,
        verb="finished",
        target=held,
        person=held.person,
        lesions=[one.lesion.pk for one in findings],
    )
    return held


def answers_check(found: PersonFindings) -> None:
    why_not_worn_check(wear=found.wear, why_not_worn=found.why_not_worn)
    weighed_check(weight_kg=found.weight_kg, weight_how=found.weight_how)


def devices_open(*, by: User, visit: Visit) -> None:
    """Every device that is sealed on was opened at this visit; call inside its transaction."""
    devices = sealed_devices(visit.person)
    # All rows first: the audit chain is locked from the first opening on, and nobody may wait for us behind
    # it.
    list(Prescription.objects.select_for_update().filter(pk__in=[device.pk for device in devices]))
    for device in devices:
        try:
            prescription_open(
                by=by,
                prescription=device,
                opened_on=visit.visited_on,
                expected_version=device.version,
                visit=visit,
            )
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


def _bone_before(row: Measurement) -> bool:
    return Measurement.objects.filter(
        lesion=row.lesion_id,
        visit__state=VisitState.STANDS,
        visit__visited_on__lt=row.visit.visited_on,
        probe_to_bone=True,
    ).exists()


def _take_photo(row: Measurement, by: User) -> None:
    """The photo that an area was traced on belongs to the visit that uses it."""
    photo = row.trace.scale.photo if row.trace is not None else None
    if photo is not None and photo.visit_id is None:
        photo.visit = row.visit
        store(photo, by=by, why="traced for the visit")


def _store_photo(visit: Visit, one: LesionFindings, by: User) -> None:
    assert one.photo is not None
    try:
        photo_store(by=by, lesion=one.lesion, visit=visit, taken_on=visit.visited_on, upload=one.photo)
    except Refused as refused:
        raise for_lesion(refused, one.lesion) from refused


def store_weight(visit: Visit, kg: Decimal, found: PersonFindings, by: User) -> None:
    weight = Weight(
        person=visit.person, visit=visit, measured_on=found.visited_on, kg=kg, how=found.weight_how
    )
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
    next_at: time | None = None,
    transport: str = "",
) -> Logged:
    """Say that a visit did not take place, why, and when the next one is."""
    person = Person.objects.select_for_update(of=("self",)).select_related("site").get(pk=person.pk)
    stored = Visit.objects.filter(submission_key=submission_key, person=person).first()
    if stored is not None:
        return Logged(stored, new=False)
    missed_check(attendance=attendance)
    in_care_check(person)
    day_check(person, day)
    next_visit_check(person=person, visited_on=day, next_on=next_on)
    visit = Visit(
        person=person,
        visited_on=day,
        attendance=attendance,
        why_not=why_not.strip(),
        next_on=next_on,
        next_at=next_at,
        transport=transport.strip(),
        submission_key=submission_key,
    )
    store(visit, by=by)
    audit.record(by=by, site=person.site, verb="missed", target=visit, person=person, attendance=attendance)
    return Logged(visit, new=True)
