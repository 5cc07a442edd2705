"""What is due around a lesion besides its course: a missed visit, an old weight, a plan to look at, an
old insole.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from decimal import Decimal
from typing import Any, NamedTuple

from django.db.models import QuerySet, prefetch_related_objects
from django.utils import timezone

from clinic.curves.reads.healing import LesionHealing
from clinic.guidelines.due import days_overdue, fact_age, foam_due, plan_look_due, visit_standing
from clinic.lesions.reads.non_healing import ItemRow, items_due, last_reviews, review_due_words
from clinic.models import (
    Attendance,
    Event,
    EventKind,
    Lesion,
    LesionState,
    LimbPlan,
    PersonState,
    Prescription,
    Site,
    Visit,
    VisitState,
    Weight,
)
from clinic.record.dates import day_words

__all__ = ["DUE", "Due", "Surroundings", "due_for", "surroundings_of"]

#: Key -> words of the filter, in the order of the page.
DUE: dict[str, str] = {
    "second": "Second signature missing",
    "non_healing": "Non-healing review due",
    "item": "Item of a non-healing review due",
    "missed": "Missed visit",
    "plan": "Plan needs a look",
    "weight": "Weight out of date",
    "foam": "Insole past its renewal",
}
_NOT_CLOSING = frozenset({"worsening", "stalled", "slow"})


@dataclass(frozen=True)
class Due:
    """One thing that is due, with its reason in words."""

    kind: str
    words: str


class Weighed(NamedTuple):
    measured_on: date
    kg: Decimal


@dataclass
class Surroundings:
    """What the list knows about people and limbs besides the lesions; filled by eight queries, by nine where
    a second signature is missing.
    """

    device: dict[int, Prescription] = field(default_factory=dict)  # by limb
    came: dict[int, date] = field(default_factory=dict)  # by person: last visit made
    logged: dict[int, datetime] = field(
        default_factory=dict
    )  # by person: when its last visit made was written
    missed: dict[int, int] = field(default_factory=dict)  # by person: visits missed since
    next_on: dict[int, date] = field(default_factory=dict)  # by person: of the latest visit
    weight: dict[int, Weighed] = field(default_factory=dict)  # by person: the latest
    plans: dict[int, list[LimbPlan]] = field(default_factory=dict)  # by lesion, newest first
    renewed: dict[int, date] = field(default_factory=dict)  # by limb: insole last replaced
    reviewed: dict[int, date] = field(default_factory=dict)  # by lesion: non-healing review last opened
    items: dict[int, list[ItemRow]] = field(default_factory=dict)  # by lesion: what the reviews left to do


def surroundings_of(lesions: Sequence[Lesion], today: date) -> Surroundings:
    """Read them for these lesions."""
    limbs = {lesion.limb_id for lesion in lesions}
    people = {lesion.limb.person_id for lesion in lesions}
    found = Surroundings()
    found.device = {p.limb_id: p for p in _devices(limbs)}
    # Who signed is named only where a second signature is missing.
    prefetch_related_objects([p for p in found.device.values() if p.waits_for_second], "signed_by")
    _visits(found, people)
    found.reviewed = last_reviews(lesions)
    for row in items_due(today, review__lesion__in=[lesion.pk for lesion in lesions]):
        found.items.setdefault(row.item.review.lesion_id, []).append(row)
    for person, *weighed in _weights(people):
        found.weight.setdefault(person, Weighed(*weighed))
    by_lesion: dict[int, list[LimbPlan]] = defaultdict(list)
    for link in _plans(limbs):
        for lesion in link.lesions.all():
            by_lesion[lesion.pk].append(link)
    found.plans = by_lesion
    found.renewed = dict(_renewals(limbs))
    return found


def _devices(limbs: Any) -> QuerySet[Any, Any]:
    running = Prescription.objects.filter(limb__in=limbs, stopped_on=None)
    return running.defer("facts", "advice", "forecast_shown", "content")


def _weights(people: Any) -> QuerySet[Any, Any]:
    rows = Weight.objects.newest_first().filter(person__in=people)
    return rows.values_list("person_id", "measured_on", "kg")


def _plans(limbs: Any) -> QuerySet[Any, Any]:
    links = (
        LimbPlan.objects.filter(limb__in=limbs, ended_on=None)
        .exclude(plan__state="superseded")
        .order_by("-pk")
    )
    return links.select_related("plan").defer("plan__result").prefetch_related("lesions")


def _renewals(limbs: Any) -> QuerySet[Any, Any]:
    rows = Event.objects.filter(limb__in=limbs, kind=EventKind.INSOLE_REPLACED)
    return rows.order_by("happened_on").values_list("limb_id", "happened_on")


def _visits_made(people: Any) -> QuerySet[Any, Any]:
    rows = Visit.objects.filter(person__in=people, state=VisitState.STANDS).order_by("visited_on", "pk")
    return rows.values_list("person_id", "visited_on", "attendance", "next_on", "created_at")


def _visits(found: Surroundings, people: Iterable[int]) -> None:
    missed: dict[int, int] = defaultdict(int)
    for person, day, attendance, next_on, created in _visits_made(people):
        if attendance == Attendance.CAME:
            found.came[person], found.logged[person] = day, created
            missed[person] = 0
        elif attendance == Attendance.DID_NOT_COME:
            missed[person] += 1
        found.next_on.pop(person, None)
        if next_on:
            found.next_on[person] = next_on
    found.missed = missed


def due_for(healing: LesionHealing, around: Surroundings, site: Site, today: date) -> tuple[Due, ...]:
    """What is due around one lesion, in the order of ``DUE``."""
    return tuple(
        Due(kind, words)
        for kind, sentences in (
            ("second", _second(healing, around)),
            ("non_healing", _non_healing(healing, around, today)),
            ("item", (row.sentence for row in around.items.get(healing.lesion.pk, []) if row.asks)),
            ("missed", _missed(healing, around, today)),
            ("plan", _plan(healing, around, site, today)),
            ("weight", _weight(healing, around, site, today)),
            ("foam", _foam(healing, around, today)),
        )
        for words in sentences
    )


def _second(healing: LesionHealing, around: Surroundings) -> Iterator[str]:
    device = around.device.get(healing.lesion.limb_id)
    if device is not None and device.waits_for_second:
        signed = day_words(timezone.localdate(device.signed_at))
        yield (
            f"{device} signed by {device.signed_by} on {signed} waits for a second signature; it is not "
            "fitted before."
        )


def _non_healing(healing: LesionHealing, around: Surroundings, today: date) -> Iterator[str]:
    if healing.lesion.state != LesionState.OPEN:
        return
    if words := review_due_words(healing.kind, around.reviewed.get(healing.lesion.pk), today):
        yield words


def _missed(healing: LesionHealing, around: Surroundings, today: date) -> Iterator[str]:
    lesion, person = healing.lesion, healing.lesion.limb.person
    count, next_on = around.missed.get(person.pk, 0), around.next_on.get(person.pk)
    if count:
        yield f"Did not come {count} time{'' if count == 1 else 's'} since the last visit made."
    standing = visit_standing(
        next_on, today, in_care=person.state == PersonState.IN_CARE, open_lesions=lesion.is_open
    )
    if next_on and standing == "overdue":
        yield f"Was expected on {day_words(next_on)}, {days_overdue(next_on, today)} days ago."
    elif standing == "no_date":
        yield "No next visit is agreed."


def _plan(healing: LesionHealing, around: Surroundings, site: Site, today: date) -> Iterator[str]:
    plans = around.plans.get(healing.lesion.pk, [])
    drafts = [link for link in plans if link.plan.signed_at is None]
    signed = [link for link in plans if link.plan.signed_at is not None]
    for link in drafts[:1]:
        yield (
            f"Relief plan v{link.plan.number} of {day_words(timezone.localdate(link.plan.created_at))} is "
            "not signed."
        )
    if not signed:
        return
    plan = signed[0].plan
    signed_on = timezone.localdate(plan.signed_at) if plan.signed_at else today
    if plan_look_due(signed_on, today) and healing.kind in _NOT_CLOSING:
        yield (
            f"Relief plan v{plan.number} has been signed for {(today - signed_on).days // 7} weeks and the "
            "ulcer reads "
            f"{healing.words}: review relief plan."
        )
    weight = around.weight.get(healing.lesion.limb.person_id)
    then = plan.spec.get("body_weight_kg")
    if weight is not None and isinstance(then, int | float):
        limit = float(site.weight_threshold_kg)
        if (float(weight.kg) >= limit) != (then >= limit):
            yield (
                f"Relief plan v{plan.number} was made for {then:g} kg; {weight.kg:g} kg on "
                f"{day_words(weight.measured_on)} is across this clinic's limit of {limit:g} kg."
            )


def _weight(healing: LesionHealing, around: Surroundings, site: Site, today: date) -> Iterator[str]:
    # Weight matters where foam carries it: a device that takes an insole, or a lesion an insole plan can
    # serve.
    device = around.device.get(healing.lesion.limb_id)
    if not ((device and device.takes_insole) or healing.lesion.foot_site.insole_plan):
        return
    weight = around.weight.get(healing.lesion.limb.person_id)
    if weight is None:
        yield "No weight recorded."
        return
    if fact_age(weight.measured_on, site.weight_fresh_days, today) == "old":
        days = (today - weight.measured_on).days
        yield f"Weight is {days} days old, over this clinic's {site.weight_fresh_days}."


def _foam(healing: LesionHealing, around: Surroundings, today: date) -> Iterator[str]:
    signed = [
        timezone.localdate(link.plan.signed_at)
        for link in around.plans.get(healing.lesion.pk, [])
        if link.plan.signed_at is not None
    ]
    renewed = around.renewed.get(healing.lesion.limb_id)
    since = foam_due([*signed, *([renewed] if renewed else [])], today)
    if not signed or since is None:
        return
    yield (
        f"Insole of {day_words(since)} is past its 6 months: measured relief of insoles fell from 39 % new "
        "to "
        "32 % at 6 months (81 people, Diabet Med 2001, read second-hand)."
    )
