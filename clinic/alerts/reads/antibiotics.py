"""Courses of antibiotics: which run, which end, which are past their planned end."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db.models import QuerySet

from clinic.guidelines.due import CourseStanding, course_standing, days_overdue
from clinic.models import AntibioticCourse
from clinic.record.dates import day_words

__all__ = ["CourseRow", "course_row", "courses_ending", "courses_of_lesions"]

WORDS = {
    "running": "Running",
    "ends": "Ends today",
    "past_end": "Past its planned end",
    "stopped": "Stopped",
}


@dataclass(frozen=True)
class CourseRow:
    """One course with how it stands on a day."""

    course: AntibioticCourse
    standing: CourseStanding
    sentence: str

    @property
    def words(self) -> str:
        return WORDS[self.standing]

    @property
    def asks(self) -> bool:
        """Whether it has to be stopped or prolonged."""
        return self.standing in ("ends", "past_end")


def course_row(course: AntibioticCourse, today: date) -> CourseRow:
    """How a course stands; no query of its own."""
    standing = course_standing(course.planned_end_on, course.stopped_on, today)
    since = f"from {day_words(course.started_on)}"
    if standing == "stopped":
        why = course.get_stop_reason_display().lower()
        note = f" ({course.stop_note})" if course.stop_note else ""
        sentence = f"{since} to {day_words(course.stopped_on or today)}: {why}{note}"
    elif standing == "past_end":
        days = days_overdue(course.planned_end_on, today)
        sentence = (
            f"{since}, planned end {day_words(course.planned_end_on)}, "
            f"{days} day{'' if days == 1 else 's'} ago: stop or prolong"
        )
    else:
        sentence = f"{since}, planned end {day_words(course.planned_end_on)}"
    return CourseRow(course, standing, sentence)


def _rows() -> QuerySet[Any, Any]:
    return AntibioticCourse.objects.select_related("lesion__limb")


def courses_of_lesions(today: date, **whose: Any) -> tuple[CourseRow, ...]:
    """Courses of one ulcer or one person (`lesion=` or `lesion__limb__person=`), running ones first (one
    query).
    """
    rows = [course_row(one, today) for one in _rows().filter(**whose)]
    return tuple(sorted(rows, key=lambda row: (row.standing == "stopped", not row.asks)))


def courses_ending(people: Iterable[int], today: date) -> dict[int, list[CourseRow]]:
    """By person, courses on or past their planned end that nobody stopped or prolonged (one query)."""
    found: dict[int, list[CourseRow]] = {}
    rows = _rows().filter(lesion__limb__person__in=people, stopped_on=None).order_by("planned_end_on", "pk")
    for one in rows:
        row = course_row(one, today)
        if row.asks:
            found.setdefault(one.lesion.limb.person_id, []).append(row)
    return found
