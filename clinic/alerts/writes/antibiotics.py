"""Courses of antibiotics: started, prolonged or corrected, stopped, and the last of these taken back."""

from __future__ import annotations

from datetime import date

from django.db import transaction
from django.utils import timezone
from django.utils.formats import date_format

from clinic.models import AntibioticCourse, AntibioticRoute, CourseStop, Lesion, User
from clinic.record.errors import Refused, words_needed
from clinic.record.lifecycle import person_allowed
from clinic.record.reads.last_step import before_last_step
from clinic.record.writes import audit
from clinic.record.writes.rows import store
from clinic.record.writes.withdrawing import TAKEN_BACK

__all__ = ["antibiotic_change", "antibiotic_start", "antibiotic_step_take_back", "antibiotic_stop"]

WORDED = {
    "drug": "Antibiotic",
    "dose": "Dose and how often",
    "decided_by": "Who decided",
    "why": "Why",
}


#: What a step may change, and taking it back restores.
STEPPED = (
    *WORDED,
    "route",
    "started_on",
    "planned_end_on",
    "stopped_on",
    "stop_reason",
    "stop_note",
)


def _held_to_rules(course: AntibioticCourse) -> None:
    for name, label in WORDED.items():
        value = getattr(course, name).strip()
        setattr(course, name, value)
        if not value:
            raise Refused(f"{label}: nothing given.", field=name)
    if course.route not in AntibioticRoute.values:
        raise Refused("Route: choose one of the list.", field="route")
    if course.started_on > timezone.localdate():
        raise Refused(
            f"Started on: {date_format(course.started_on)} lies in the future; record it when it starts.",
            field="started_on",
        )
    if course.started_on < course.lesion.limb.person.birth_date:
        raise Refused("Started on: lies before the patient was born.", field="started_on")
    if course.planned_end_on < course.started_on:
        raise Refused(
            f"Planned end: {date_format(course.planned_end_on)} lies before the start, "
            f"{date_format(course.started_on)}.",
            field="planned_end_on",
        )


@transaction.atomic
def antibiotic_start(
    *,
    by: User,
    lesion: Lesion,
    drug: str,
    dose: str,
    route: str,
    started_on: date,
    planned_end_on: date,
    decided_by: str,
    why: str,
) -> AntibioticCourse:
    """Record a course that was started; it stands on Today from its planned end on."""
    made = AntibioticCourse(
        lesion=lesion,
        drug=drug,
        dose=dose,
        route=route,
        started_on=started_on,
        planned_end_on=planned_end_on,
        decided_by=decided_by,
        why=why,
    )
    _held_to_rules(made)
    store(made, by=by)
    person = lesion.limb.person
    audit.record(
        by=by, site=person.site, verb="started", target=made, person=person, planned_end_on=planned_end_on
    )
    return made


@transaction.atomic
def antibiotic_change(
    *,
    by: User,
    course: AntibioticCourse,
    drug: str,
    dose: str,
    route: str,
    started_on: date,
    planned_end_on: date,
    decided_by: str,
    why: str,
    because: str,
    expected_version: int,
) -> AntibioticCourse:
    """Prolong, shorten or correct a course; what it said before stays in its history with the reason."""
    _running(course)
    before = course.planned_end_on
    course.drug, course.dose, course.route = drug, dose, route
    course.started_on, course.planned_end_on = started_on, planned_end_on
    course.decided_by, course.why = decided_by, why
    _held_to_rules(course)
    store(course, by=by, expected_version=expected_version, why=because)
    person = course.lesion.limb.person
    audit.record(
        by=by,
        site=person.site,
        verb="prolonged" if planned_end_on > before else "corrected",
        target=course,
        person=person,
        planned_end_on=[before, planned_end_on],
        why=because,
    )
    return course


@transaction.atomic
def antibiotic_stop(
    *,
    by: User,
    course: AntibioticCourse,
    stopped_on: date,
    stop_reason: str,
    expected_version: int,
    stop_note: str = "",
) -> AntibioticCourse:
    """End a course: completed, changed, not tolerated, or entered in error."""
    _running(course)
    if stop_reason not in CourseStop.values:
        raise Refused("Why it stopped: choose one of the list.", field="stop_reason")
    if not course.started_on <= stopped_on <= timezone.localdate():
        raise Refused(
            f"Last day taken: {date_format(stopped_on)}; it must lie between the start, "
            f"{date_format(course.started_on)}, and today.",
            field="stopped_on",
        )
    course.stopped_on, course.stop_reason, course.stop_note = stopped_on, stop_reason, stop_note.strip()
    store(course, by=by, expected_version=expected_version, why="stopped")
    person = course.lesion.limb.person
    audit.record(by=by, site=person.site, verb="stopped", target=course, person=person, reason=stop_reason)
    return course


@transaction.atomic
def antibiotic_step_take_back(
    *, by: User, course: AntibioticCourse, reason: str, expected_version: int
) -> AntibioticCourse:
    """The course stands as it stood before it was last prolonged, corrected or stopped."""
    person = course.lesion.limb.person
    # It may run again, which only somebody in care can.
    person_allowed(person, "care")
    before = before_last_step(course)
    why = words_needed(reason, "reason")
    for name in STEPPED:
        setattr(course, name, getattr(before, name))
    store(course, by=by, expected_version=expected_version, why=f"{TAKEN_BACK}{why}"[:100])
    audit.record(
        by=by, site=person.site, verb="took back a step of", target=course, person=person, reason=why
    )
    return course


def _running(course: AntibioticCourse) -> None:
    if course.stopped_on is not None:
        raise Refused(f"This course stopped on {date_format(course.stopped_on)}; nothing was changed.")
