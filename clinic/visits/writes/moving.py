"""A visit that belongs to another person: everything found at it goes to the right record, by the same author
and time. The wrong record keeps that a visit was moved, and nothing of what it found.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from datetime import date

from django.db import transaction
from django.utils import timezone

from clinic.alerts.writes.standing import dangers_raise
from clinic.capture.writes.measurement import infection_of
from clinic.lesions.writes.closure import closures_contradicted
from clinic.models import (
    Attendance,
    Lesion,
    Measurement,
    Person,
    Photo,
    RedFlag,
    User,
    Visit,
    VisitState,
)
from clinic.people.reads.perfusion import standing_settings
from clinic.record.errors import Refused
from clinic.record.writes import audit
from clinic.record.writes.rows import restrict, store
from clinic.record.writes.withdrawing import withdraw
from clinic.relief.writes.plan_flags_back import plan_flags_reconsider
from clinic.relief.writes.watch import plans_review
from clinic.rules.writes.visit_checks import (
    day_check,
    free_day_check,
    in_care_check,
    next_visit_check,
    open_lesion_ids,
    person_held,
)
from clinic.visits.traces_left import VisitTrace, traces_of
from clinic.visits.writes.answers import next_given_check
from clinic.visits.writes.corrections import visit_held
from clinic.visits.writes.taking_back import decided_check, rows_hold, trace_back
from clinic.visits.writes.visits import devices_open

__all__ = ["MOVED_HERE", "MOVED_WORDS", "goes_along", "visit_move"]

#: What the record that had the visit says of it.
MOVED_WORDS = "It belongs to another patient and was moved to that record."
MOVED_HERE = "moved here from another record"
#: Kinds of what a visit left that go along, by the start of their key.
GOES_ALONG = ("area", "weight", "photo", "flag", "next", "watch")


def goes_along(trace: VisitTrace) -> bool:
    """Whether a trace of the visit goes to the right record with it."""
    return trace.key.split("-")[0] in GOES_ALONG


@transaction.atomic
def visit_move(
    *,
    by: User,
    visit: Visit,
    person: Person,
    lesions: Mapping[int, Lesion],
    reason: str,
    expected_version: int,
    next_on: date | None = None,
    device_opened: bool = False,
    keep: Mapping[str, str] | None = None,
    take: Collection[str] = (),
) -> Visit:
    """Move a visit to the person it was made for. `lesions`: number of each lesion found at it -> the open
    lesion of the right person that was looked at. `device_opened`: their sealed device was opened at it.

    What was entered apart on its day in the wrong record is kept or taken back there, as at a visit in error.
    """
    if person.pk == visit.person_id:
        raise Refused("To whom: this is the record the visit stands in.", field="person")
    # One order of locks for every pair of people.
    for pk in sorted((person.pk, visit.person_id)):
        held = person_held(Person(pk=pk))
        person = held if pk == person.pk else person
    visit = visit_held(visit, "move", reason)
    restrict.check(visit)
    wrong, why = visit.person, reason.strip()
    _target_check(person, visit, lesions, next_on, device_opened)
    kept = {key: words.strip() for key, words in (keep or {}).items()}
    traces = traces_of(visit)
    apart = [one for one in traces if not goes_along(one)]
    decided_check(apart, kept, take)
    rows_hold(wrong, traces)
    stub = _stub(by, visit, why)
    _move_flags(by, visit, stub, person, why)
    _move_rows(by, visit, person, lesions)
    _move_visit(by, visit, person, next_on, expected_version)
    if device_opened:
        devices_open(by=by, visit=visit)
    closures_contradicted(by=by, person=person)
    plans_review(by=by, person=person, day=visit.visited_on, visit=visit)
    dangers_raise(by=by, person=person, visit=visit)
    audit.record(by=by, site=person.site, verb="moved here", target=visit, person=person, reason=why)
    _settle_wrong(by, stub, apart, kept, why)
    audit.record(by=by, site=wrong.site, verb="moved away", target=stub, person=wrong, reason=why, kept=kept)
    return visit


def _target_check(
    person: Person, visit: Visit, lesions: Mapping[int, Lesion], next_on: date | None, opened: bool
) -> None:
    in_care_check(person)
    day_check(person, visit.visited_on)
    open_now = open_lesion_ids(person)
    found = set(visit.measurements.values_list("lesion_id", flat=True))
    if set(lesions) != found:
        raise Refused("For each ulcer found at this visit, say which one of the right patient it was.")
    targets = [lesion.pk for lesion in lesions.values()]
    if len(set(targets)) != len(targets):
        raise Refused("Two ulcers of the visit are said to be the same one of the right patient.")
    if not set(targets) <= open_now:
        raise Refused(
            "An ulcer chosen is not an open one of the right patient; register it there first, then move."
        )
    if visit.attendance == Attendance.CAME:
        free_day_check(person, lesions.values(), visit.visited_on)
    next_visit_check(person=person, visited_on=visit.visited_on, next_on=next_on, opened=opened)
    whole = set(targets) == open_now and not visit.unfinished
    next_given_check(
        next_on=next_on,
        no_next_because="" if next_on else visit.no_next_because,
        needed=whole and bool(open_now),
    )
    if visit.photos.standing().exists():
        consent = person.photo_consents.filter(given_on__lte=visit.visited_on, withdrawn_on=None)
        if not consent.exists():
            raise Refused(
                "Photo: the right patient's consent does not stand on the day of the visit; record it there, "
                "or withdraw the photo first."
            )


def _stub(by: User, visit: Visit, why: str) -> Visit:
    """What stays in the wrong record: that there was a visit, and that it was moved."""
    stub = Visit(
        person=visit.person,
        visited_on=visit.visited_on,
        attendance=visit.attendance,
        state=VisitState.IN_ERROR,
        error_reason=MOVED_WORDS,
    )
    store(stub, by=by, why=why[:100])
    for found in visit.watch_findings.select_related("point__limb_plan__limb__person__site"):
        found.visit = stub
        store(found, by=by, why=MOVED_WORDS)
    for flag in visit.plan_flags.select_related("limb_plan__limb__person__site"):
        flag.visit = stub
        store(flag, by=by, why=MOVED_WORDS)
    for device in visit.opened_devices.select_related("limb__person__site"):
        device.opened_visit = stub
        store(device, by=by, why=MOVED_WORDS)
    return stub


def _move_flags(by: User, visit: Visit, stub: Visit, person: Person, why: str) -> None:
    """A flag that somebody ticked is of the right person; one that the record raised by itself is asked anew
    in both.
    """
    flags = RedFlag.objects.filter(visit=visit).select_related("person__site")
    for flag in flags:
        for owner in flag.owners.select_related("limb__person__site"):
            owner.flag = None
            if owner.withdrawn_on is None:
                withdraw(owner, by=by, reason=why)
            else:
                store(owner, by=by, why=MOVED_WORDS)
        if flag.from_record:
            flag.visit = stub
            if flag.withdrawn_on is None:
                withdraw(flag, by=by, reason=why)
            else:
                store(flag, by=by, why=MOVED_WORDS)
        else:
            flag.person = person
            store(flag, by=by, why=MOVED_HERE)


def _move_rows(by: User, visit: Visit, person: Person, lesions: Mapping[int, Lesion]) -> None:
    settings = standing_settings(person.site)
    for weight in visit.weights.select_related("person__site"):
        weight.person = person
        store(weight, by=by, why=MOVED_HERE)
    for photo in Photo.objects.filter(visit=visit).select_related("lesion__limb__person__site"):
        target = lesions.get(photo.lesion_id)
        if target is None:
            raise Refused(
                f"Photo of ulcer {photo.lesion.label}: it shows an ulcer that the visit did not look at; "
                "withdraw it first."
            )
        photo.lesion = target
        store(photo, by=by, why=MOVED_HERE)
    rows = Measurement.objects.filter(visit=visit).select_related("visit__person__site", "created_by")
    for row in rows:
        row.lesion = lesions[row.lesion_id]
        row.infection_grade = infection_of(row, settings)
        store(row, by=by, why=MOVED_HERE)


def _move_visit(by: User, visit: Visit, person: Person, next_on: date | None, expected_version: int) -> None:
    seen = set(visit.measurements.values_list("lesion_id", flat=True))
    visit.person, visit.next_on, visit.counts_for = person, next_on, None
    if next_on is not None:
        visit.no_next_because = ""
    visit.unfinished = visit.unfinished or (
        visit.attendance == Attendance.CAME and seen != open_lesion_ids(person)
    )
    store(visit, by=by, expected_version=expected_version, why=MOVED_HERE)


def _settle_wrong(by: User, stub: Visit, apart: list[VisitTrace], kept: Mapping[str, str], why: str) -> None:
    for trace in apart:
        if trace.key not in kept:
            trace.row.refresh_from_db()
            trace_back(by, trace, why)
    person = stub.person
    plan_flags_reconsider(by=by, person=person, reason=why, day=timezone.localdate())
    dangers_raise(by=by, person=person)
