"""Correcting a stored visit. Nothing is ever deleted."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, time
from typing import Any

from django.db import transaction

from clinic.alerts.writes.standing import dangers_raise
from clinic.capture.writes.measurement import LesionFindings
from clinic.lesions.writes.closure_back import closures_hold
from clinic.models import User, Visit
from clinic.people.writes.weights import weight_change
from clinic.record.errors import Refused
from clinic.record.writes import audit
from clinic.record.writes.rows import store
from clinic.relief.writes.plan_flags_back import plan_flags_reconsider
from clinic.rules.writes.visit_checks import day_check, free_day_check, next_visit_check
from clinic.visits.states import visit_allowed
from clinic.visits.writes.answers import missed_check, next_given_check
from clinic.visits.writes.measured import measurement_store
from clinic.visits.writes.visits import (
    COLUMNS,
    PersonFindings,
    answers_check,
    store_weight,
    visit_fill,
)

__all__ = ["missed_correct", "visit_correct", "visit_held"]


def visit_held(visit: Visit, event: str, reason: str) -> Visit:
    """The visit as the database has it now, held until this transaction ends."""
    if not reason.strip():
        raise Refused("Reason: missing; a stored visit is changed only with a reason.", field="reason")
    held = Visit.objects.select_for_update(of=("self",)).select_related("person__site").get(pk=visit.pk)
    visit_allowed(held, event)
    return held


@transaction.atomic
def visit_correct(
    *,
    by: User,
    visit: Visit,
    found: PersonFindings,
    lesions: Iterable[LesionFindings],
    reason: str,
    expected_version: int,
) -> Visit:
    """Correct a visit that took place; what stood before stays in its history with the reason."""
    visit = visit_held(visit, "correct", reason)
    findings, why = list(lesions), reason.strip()
    day_check(visit.person, found.visited_on)
    answers_check(found)
    if visit.visited_on != found.visited_on:
        free_day_check(visit.person, [one.lesion for one in findings], found.visited_on)
    if (visit.visited_on, visit.next_on) != (found.visited_on, found.next_on):
        next_visit_check(person=visit.person, visited_on=found.visited_on, next_on=found.next_on)
    given = visit.next_on is not None or bool(visit.no_next_because)
    next_given_check(next_on=found.next_on, no_next_because=found.no_next_because, needed=given)
    changed = [column for column in COLUMNS if getattr(visit, column) != getattr(found, column)]
    moved = visit.visited_on != found.visited_on
    visit_fill(visit, found)
    visit.confirmed_as_typed = [*visit.confirmed_as_typed, *found.confirmed]
    store(visit, by=by, expected_version=expected_version, why=why)
    if moved:
        _take_along(by, visit, why)
        changed += ["weight, photos and opening of the day"]
    if _weight_corrected(by, visit, found, why):
        changed.append("weight")
    rows = {row.lesion_id: row for row in visit.measurements.select_related("lesion")}
    for one in findings:
        row = rows.get(one.lesion.pk)
        if row is None:
            raise Refused(f"Ulcer {one.lesion.label} was not part of this visit.")
        row.visit = visit
        if measurement_store(row, one, by=by, why=why):
            changed.append(f"ulcer {one.lesion.label}")
    closures_hold(by=by, person=visit.person, reason=why)
    plan_flags_reconsider(by=by, person=visit.person, reason=why, day=visit.visited_on)
    dangers_raise(by=by, person=visit.person, visit=visit)
    _recorded(by, visit, "corrected", why, changed=changed)
    return visit


def _take_along(by: User, visit: Visit, why: str) -> None:
    """What was measured at a visit was measured on its day."""
    day = visit.visited_on
    for weight in visit.weights.standing().select_related("person__site"):
        weight_change(weight, by=by, kg=weight.kg, how=weight.how, measured_on=day, reason=why)
    for photo in visit.photos.standing().select_related("lesion__limb__person__site"):
        photo.taken_on = day
        store(photo, by=by, why=why)
    for device in visit.opened_devices.filter(opened_on__isnull=False).select_related("limb__person__site"):
        if device.sealed_on is not None and day < device.sealed_on:
            raise Refused(
                f"Date of the visit: {day:%-d %b %Y} lies before the device it opened was sealed, "
                f"{device.sealed_on:%-d %b %Y}; take the opening back first.",
                field="visited_on",
            )
        device.opened_on = day
        store(device, by=by, why=why)


def _weight_corrected(by: User, visit: Visit, found: PersonFindings, why: str) -> bool:
    """Put a corrected weight on the visit's own; none given leaves it as it is."""
    if found.weight_kg is None:
        return False
    stored = visit.weights.standing().select_related("person__site").first()
    if stored is None:
        store_weight(visit, found.weight_kg, found, by)
        return True
    if (stored.kg, stored.how) == (found.weight_kg, found.weight_how):
        return False
    weight_change(
        stored,
        by=by,
        kg=found.weight_kg,
        how=found.weight_how,
        measured_on=visit.visited_on,
        reason=why,
    )
    return True


@transaction.atomic
def missed_correct(
    *,
    by: User,
    visit: Visit,
    day: date,
    attendance: str,
    why_not: str,
    next_on: date | None,
    next_at: time | None = None,
    transport: str = "",
    reason: str,
    expected_version: int,
) -> Visit:
    """Correct a visit that did not take place."""
    visit = visit_held(visit, "correct_missed", reason)
    missed_check(attendance=attendance)
    day_check(visit.person, day)
    next_visit_check(person=visit.person, visited_on=day, next_on=next_on)
    visit.visited_on, visit.attendance = day, attendance
    visit.why_not, visit.next_on = why_not.strip(), next_on
    visit.next_at, visit.transport = next_at, transport.strip()
    store(visit, by=by, expected_version=expected_version, why=reason.strip())
    _recorded(by, visit, "corrected", reason.strip())
    return visit


def _recorded(by: User, visit: Visit, verb: str, reason: str, **detail: Any) -> None:
    audit.record(
        by=by, site=visit.person.site, verb=verb, target=visit, person=visit.person, reason=reason, **detail
    )
