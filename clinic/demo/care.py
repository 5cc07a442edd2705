"""Tests, antibiotics and the non-healing review of an invented ulcer, through the clinic's own writes."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

from clinic.alerts.writes.antibiotics import antibiotic_start
from clinic.alerts.writes.results import result_report, result_request, result_see
from clinic.curves.reads.healing import healing_of
from clinic.guidelines.failed_care import NOT_HEALING
from clinic.lesions.reads.causes import cause_sheet
from clinic.lesions.writes.non_healing import ItemFound, review_open
from clinic.models import Lesion, User

from .scenario import LesionPlot

__all__ = ["care_of_week"]


def care_of_week(plot: LesionPlot, lesion: Lesion, week: int, day: date, users: tuple[User, User]) -> None:
    """What this week's plot asks for and what came back; `users` are staff and podiatrist."""
    staff, podiatrist = users
    for one in plot.results:
        if one["week"] == week:
            _test(one, lesion, day, staff, podiatrist)
    for one in plot.antibiotics:
        if one["week"] == week:
            antibiotic_start(
                by=staff,
                lesion=lesion,
                drug=one["drug"],
                dose=one["dose"],
                route=one.get("route", "oral"),
                started_on=day,
                planned_end_on=day + timedelta(days=one["days"]),
                decided_by=one["decided_by"],
                why=one["why"],
            )
    if plot.review.get("week") == week:
        _review(plot.review, lesion, day, staff, podiatrist)


def _test(one: dict[str, Any], lesion: Lesion, day: date, staff: User, podiatrist: User) -> None:
    made = result_request(
        by=staff,
        person=lesion.limb.person,
        lesion=lesion,
        kind=one["kind"],
        what=one.get("what", ""),
        requested_on=day,
        due_on=day + timedelta(days=one["due_days"]),
        owner=staff,
    )
    if "reading" in one:
        result_report(
            by=staff,
            result=made,
            result_on=day,
            value=one.get("value"),
            words=one.get("words", ""),
            reading=one["reading"],
            expected_version=made.version,
        )
    if "follows" in one:
        result_see(by=podiatrist, result=made, follows=one["follows"], expected_version=made.version)


def _review(plot: dict[str, Any], lesion: Lesion, day: date, staff: User, podiatrist: User) -> None:
    """Everything done but what the plot leaves due; only while the ulcer reads as not healing."""
    healing = healing_of(lesion)
    if healing.kind not in NOT_HEALING:
        return
    due = {one["topic"]: one for one in plot.get("due", ())}
    items = {}
    for cause in cause_sheet(lesion, day).causes:
        left = due.get(cause.topic)
        if left:
            by = day + timedelta(days=left["days"])
            items[str(cause.topic)] = ItemFound("due", left["words"], staff, by, cause.facts)
        else:
            words = plot.get("done", {}).get(cause.topic, "gone through, nothing to change")
            items[str(cause.topic)] = ItemFound("done", words, facts=cause.facts)
    review_open(
        by=podiatrist,
        lesion=lesion,
        opened_on=day,
        verdict_kind=healing.kind,
        verdict=healing.words,
        items=items,
    )
