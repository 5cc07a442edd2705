"""Correcting a stored visit, or taking one entered in error out of every figure. Nothing is ever deleted."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from typing import Any

from django.db import transaction

from clinic.alerts.writes.standing import dangers_raise
from clinic.capture.writes.measurement import LesionFindings
from clinic.models import User, Visit, VisitState
from clinic.record.errors import Refused
from clinic.record.writes import audit
from clinic.record.writes.rows import store
from clinic.rules.writes.visit_checks import day_check, free_day_check, next_visit_check
from clinic.visits.writes.answers import missed_check
from clinic.visits.writes.visits import COLUMNS, PersonFindings, answers_check, measurement_store, visit_fill

__all__ = ["missed_correct", "visit_correct", "visit_in_error"]


def _locked(visit: Visit, reason: str) -> Visit:
    """The visit as the database has it now, held until this transaction ends."""
    if not reason.strip():
        raise Refused("Reason: missing; a stored visit is changed only with a reason.", field="reason")
    held = Visit.objects.select_for_update(of=("self",)).select_related("person__site").get(pk=visit.pk)
    if held.state == VisitState.IN_ERROR:
        raise Refused("This visit was marked as entered in error; it is not changed any more.")
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
    visit = _locked(visit, reason)
    findings, why = list(lesions), reason.strip()
    day_check(visit.person, found.visited_on)
    answers_check(found)
    if visit.visited_on != found.visited_on:
        free_day_check(visit.person, [one.lesion for one in findings], found.visited_on)
    if (visit.visited_on, visit.next_on) != (found.visited_on, found.next_on):
        next_visit_check(person=visit.person, visited_on=found.visited_on, next_on=found.next_on)
    changed = [column for column in COLUMNS if getattr(visit, column) != getattr(found, column)]
    visit_fill(visit, found)
    store(visit, by=by, expected_version=expected_version, why=why)
    rows = {row.lesion_id: row for row in visit.measurements.select_related("lesion")}
    for one in findings:
        row = rows.get(one.lesion.pk)
        if row is None:
            raise Refused(f"Lesion {one.lesion.label} was not part of this visit.")
        row.visit = visit
        if measurement_store(row, one, by=by, why=why):
            changed.append(f"lesion {one.lesion.label}")
    dangers_raise(by=by, person=visit.person, visit=visit)
    _recorded(by, visit, "corrected", why, changed=changed)
    return visit


@transaction.atomic
def missed_correct(
    *,
    by: User,
    visit: Visit,
    day: date,
    attendance: str,
    why_not: str,
    next_on: date | None,
    reason: str,
    expected_version: int,
) -> Visit:
    """Correct a visit that did not take place."""
    visit = _locked(visit, reason)
    missed_check(attendance=attendance)
    day_check(visit.person, day)
    next_visit_check(person=visit.person, visited_on=day, next_on=next_on)
    visit.visited_on, visit.attendance = day, attendance
    visit.why_not, visit.next_on = why_not.strip(), next_on
    store(visit, by=by, expected_version=expected_version, why=reason.strip())
    _recorded(by, visit, "corrected", reason.strip())
    return visit


@transaction.atomic
def visit_in_error(*, by: User, visit: Visit, reason: str, expected_version: int) -> Visit:
    """Mark a visit as entered in error: out of every figure, still readable."""
    visit = _locked(visit, reason)
    visit.state = VisitState.IN_ERROR
    visit.error_reason = reason.strip()
    store(visit, by=by, expected_version=expected_version, why=reason.strip())
    _recorded(by, visit, "marked in error", reason.strip())
    return visit


def _recorded(by: User, visit: Visit, verb: str, reason: str, **detail: Any) -> None:
    audit.record(
        by=by, site=visit.person.site, verb=verb, target=visit, person=visit.person, reason=reason, **detail
    )
