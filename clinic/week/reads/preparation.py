"""The clinic of one day on paper: who comes, with what on the foot, and what has to lie ready."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time
from typing import Any

from django.utils.formats import date_format
from django.utils.timezone import localdate

from clinic.guidelines.due import too_old
from clinic.models import (
    OPEN_STATES,
    Limb,
    LimbPlan,
    Measurement,
    Person,
    Photo,
    Prescription,
    Site,
    Visit,
    VisitState,
)
from clinic.people.reads.limbs import FindingValue, latest_findings
from clinic.record.dates import day_words
from clinic.rules.reads.house_rules import stack_words
from clinic.week.reads.today import placed
from clinic.week.reads.today_cases import LesionLine, OpenCase, gather
from clinic.week.reads.waiting import due_words

__all__ = ["Expected", "expected_on"]

#: Asked again when too old: what the relief plan, the device choice and the safety of a device rest on.
PRESSURES = ("toe_pressure_mmhg", "tcpo2_mmhg", "ankle_index", "toe_index", "ankle_pressure_mmhg")


@dataclass(frozen=True)
class Expected:
    """One person who comes, and what to lay out."""

    person: Person
    why: str
    lines: tuple[LesionLine, ...]
    devices: tuple[str, ...]
    plans: tuple[str, ...]
    dressing: str
    due: tuple[str, ...]
    photos: tuple[Photo, ...]
    at: time | None = None
    transport: str = ""


def expected_on(site: Site, day: date, now: datetime, *, not_booked: bool = False) -> tuple[Expected, ...]:
    """Everybody booked for a day or with a device to be opened on it (a fixed number of queries).

    `not_booked` adds who is overdue, or due in remission, and may come all the same.
    """
    # Who is booked before a day to come is not overdue on it yet.
    as_of = min(day, localdate(now))
    cases = {
        pk: case
        for pk, case in gather(site, day, now).items()
        if case.next_on == day
        or any(device.open_by == day for device in case.sealed)
        or (not_booked and placed(case, as_of)[0] in ("overdue", "remission"))
    }
    limbs: list[Any] = list(Limb.objects.filter(person__in=cases).select_related("person__site"))
    found = latest_findings(limbs, site, day)
    sides: dict[int, list[Any]] = {}
    for limb in limbs:
        sides.setdefault(limb.person_id, []).append(limb)
    running: dict[int, Prescription] = {
        row.limb_id: row
        for row in Prescription.objects.filter(limb__in=limbs, stopped_on=None).select_related("limb")
    }
    plans = _plans_to_cut(limbs)
    dressings = _dressings(cases)
    photos = _photos(cases)
    expected = [
        Expected(
            person=case.person,
            why=_why(case, day, as_of),
            lines=case.lines,
            devices=tuple(
                _device_words(running[limb.pk]) for limb in sides.get(pk, []) if limb.pk in running
            ),
            plans=tuple(words for limb in sides.get(pk, []) for words in plans.get(limb.pk, ())),
            dressing=dressings.get(pk, ""),
            due=_due(case, [found[limb.pk] for limb in sides.get(pk, [])], day),
            photos=tuple(photos[lesion.pk] for lesion in case.lesions if lesion.pk in photos),
            at=case.next_at if case.next_on == day else None,
            transport=case.transport if case.next_on == day else "",
        )
        for pk, case in cases.items()
    ]
    return tuple(
        sorted(
            expected,
            key=lambda one: (
                one.at or time.max,
                one.person.family_name,
                one.person.given_name,
                one.person.pk,
            ),
        )
    )


def _why(case: OpenCase, day: date, as_of: date) -> str:
    if not case.lesions:
        return "In remission" if case.next_on == day else f"In remission. {placed(case, as_of)[1].words}"
    if placed(case, as_of)[0] == "overdue":
        return f"Overdue. {placed(case, as_of)[1].words}"
    if case.next_on != day:
        return "Non-removable device to be opened; not booked as a visit"
    return "Visit"


def _device_words(device: Prescription) -> str:
    words = f"{device.limb.get_side_display()}: {device.get_device_class_display().lower()}"
    if device.fitted_on is None:
        return f"{words}, not fitted yet"
    if device.sealed_on and not device.opened_on and device.open_by:
        return f"{words}, sealed {date_format(device.sealed_on)}, open by {date_format(device.open_by)}"
    return f"{words}, fitted {date_format(device.fitted_on)}"


def _plans_to_cut(limbs: Sequence[Limb]) -> dict[int, list[str]]:
    """By limb, signed plans that nobody has cut yet, with their stack."""
    links = (
        LimbPlan.objects.filter(limb__in=limbs, plan__state="signed", ended_on=None)
        .exclude(plan__steps__kind="cut", plan__steps__passed=True)
        .select_related("plan", "limb")
        .defer("plan__result")
    )
    words: dict[int, list[str]] = {}
    for link in links.distinct():
        stack = link.plan.spec.get("stack")
        layers = stack_words(stack) if stack else "the clinic's own stack"
        words.setdefault(link.limb_id, []).append(
            f"{link.limb.get_side_display()}: plan {link.plan.code} v{link.plan.number}; {layers}"
        )
    return words


def _dressings(cases: Mapping[int, OpenCase]) -> dict[int, str]:
    """The last dressing of each open ulcer; where none has one, the line that older visits kept for all."""
    visits = Visit.objects.filter(person__in=cases, state=VisitState.STANDS).exclude(dressing="")
    words = {
        pk: f"{dressing}, {date_format(on)}"
        for pk, dressing, on in visits.order_by("visited_on", "pk").values_list(
            "person_id", "dressing", "visited_on"
        )
    }
    rows = Measurement.objects.filter(
        lesion__limb__person__in=cases, lesion__state__in=OPEN_STATES, visit__state=VisitState.STANDS
    ).exclude(dressing="")
    own: dict[int, dict[str, str]] = {}
    for pk, label, dressing, on in rows.order_by("visit__visited_on", "pk").values_list(
        "visit__person_id", "lesion__label", "dressing", "visit__visited_on"
    ):
        own.setdefault(pk, {})[label] = f"ulcer {label}: {dressing}, {date_format(on)}"
    return words | {pk: "; ".join(lines.values()) for pk, lines in own.items()}


def _photos(cases: Mapping[int, OpenCase]) -> dict[int, Photo]:
    lesions = [lesion.pk for case in cases.values() for lesion in case.lesions]
    rows = Photo.objects.standing().filter(lesion__in=lesions).order_by("taken_on", "pk")
    return {photo.lesion_id: photo for photo in rows}


def _due(case: OpenCase, feet: Sequence[Sequence[FindingValue]], day: date) -> tuple[str, ...]:
    due = []
    if case.weighed_on is None:
        due.append("weight (none yet)")
    elif too_old(case.weighed_on, case.person.site.weight_fresh_days, day):
        due.append(f"weight (last {date_format(case.weighed_on)})")
    pressures = [one for foot in feet for one in foot if one.name in PRESSURES]
    last = max((one.found_on for one in pressures), default=None)
    if case.lesions and (last is None or too_old(last, case.person.site.perfusion_fresh_days, day)):
        due.append(
            f"toe pressure or index (last {date_format(last)})"
            if last
            else "toe pressure or index (none yet)"
        )
    felt = [f"bone felt on {day_words(on)}, ulcer {lesion.label}: judge it" for lesion, on in case.bones_felt]
    return (*due, *felt, *due_words(case.waiting))
