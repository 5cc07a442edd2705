"""What stands in the strip under a healing curve: events, devices, plans, results, antibiotics."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from django.db.models import F, Q, QuerySet
from django.utils import timezone

from clinic.guidelines.devices import DEVICES
from clinic.guidelines.results import RESULT_KINDS
from clinic.models import (
    AntibioticCourse,
    CourseStop,
    Event,
    EventKind,
    Lesion,
    LimbPlan,
    Prescription,
    Result,
    ResultReading,
)

__all__ = ["BREAKING_EVENTS", "Mark", "marks_of"]

#: Events after which the course of a wound may change: the forecast's trend widens there.
BREAKING_EVENTS = (EventKind.REVASCULARISATION, EventKind.SURGERY, EventKind.INSOLE_REPLACED)
#: Letters of a mark that the strip can show.
LONGEST_MARK = 48


@dataclass(frozen=True)
class Mark:
    """Something to show in the strip under a healing curve."""

    day: date
    kind: str
    words: str
    breaks: bool


def _event_words(kind: str, note: str) -> str:
    """An event as the strip names it; a decision by what it is about."""
    words = str(EventKind(kind).label)
    about = note.partition(":")[0].lower()
    return f"{words}: {about}" if kind == EventKind.DECISION and about else words


def _events(limbs: Any) -> QuerySet[Any, Any]:
    return Event.objects.filter(limb__in=limbs).values_list(
        "limb_id", "lesion_id", "kind", "note", "happened_on"
    )


def _devices(limbs: Any) -> QuerySet[Any, Any]:
    return Prescription.objects.filter(limb__in=limbs).values_list(
        "limb_id", "device_class", "prescribed_on", "fitted_on", "stopped_on"
    )


def _joined(limbs: Any) -> QuerySet[Any, Any]:
    """Ulcers that grew together with another, by the one that goes on."""
    return Lesion.objects.filter(joined_into__limb__in=limbs).values_list(
        "joined_into__limb_id", "joined_into_id", "label", "ended_on"
    )


def _signed_plans(limbs: Any) -> QuerySet[Any, Any]:
    return LimbPlan.objects.filter(limb__in=limbs, plan__signed_at__isnull=False).values_list(
        "limb_id", "plan__number", "plan__signed_at"
    )


def _results(limbs: Any) -> QuerySet[Any, Any]:
    """Results that arrived, by foot; those of the person as a whole stand on the curves of both feet."""
    rows = Result.objects.filter(person__limbs__in=limbs, result_on__isnull=False, withdrawn_on=None)
    rows = rows.filter(Q(limb=None) | Q(limb=F("person__limbs")))
    return rows.values_list("person__limbs", "lesion_id", "kind", "reading", "result_on")


def _antibiotics(limbs: Any) -> QuerySet[Any, Any]:
    rows = AntibioticCourse.objects.filter(lesion__limb__in=limbs).exclude(stop_reason=CourseStop.IN_ERROR)
    return rows.values_list("lesion__limb_id", "lesion_id", "drug", "started_on", "stopped_on")


def marks_of(lesions: Sequence[Lesion], whole: bool) -> dict[int, list[Mark]]:
    """Marks by lesion key, in a fixed number of queries; `whole` with results and antibiotics."""
    marks: dict[int, list[Mark]] = defaultdict(list)
    by_limb: dict[int, list[Lesion]] = defaultdict(list)
    for lesion in lesions:
        by_limb[lesion.limb_id].append(lesion)

    def put(limb_id: int, lesion_id: int | None, mark: Mark) -> None:
        for lesion in by_limb[limb_id]:
            # A strip tells of this lesion's own time; the fortnight before it explains where it started.
            early = lesion.first_seen_on - timedelta(days=14)
            late = lesion.confirmed_on or lesion.ended_on
            if lesion_id in (None, lesion.pk) and mark.day >= early and (late is None or mark.day <= late):
                marks[lesion.pk].append(mark)

    for limb, lesion_id, kind, note, day in _events(by_limb):
        put(limb, lesion_id, Mark(day, kind, _event_words(kind, note), kind in BREAKING_EVENTS))
    for limb, device, prescribed_on, fitted_on, stopped_on in _devices(by_limb):
        put(limb, None, Mark(fitted_on or prescribed_on, "device", DEVICES[device].label, True))
        if stopped_on:
            put(limb, None, Mark(stopped_on, "device_off", "Device stopped", True))
    # Results and antibiotics bend no curve: only a page that shows the strip reads them.
    for limb, lesion_id, kind, reading, day in _results(by_limb) if whole else ():
        words = f"{RESULT_KINDS[kind].label}: {ResultReading(reading).label.lower()}"
        put(limb, lesion_id, Mark(day, "result", words, False))
    for limb, lesion_id, drug, started_on, stopped_on in _antibiotics(by_limb) if whole else ():
        put(limb, lesion_id, Mark(started_on, "antibiotic", f"{drug} started"[:LONGEST_MARK], False))
        if stopped_on:
            put(limb, lesion_id, Mark(stopped_on, "antibiotic", f"{drug} stopped"[:LONGEST_MARK], False))
    # From that day on an area is of both: the trend may change, and a step up is no growth.
    for limb, lesion_id, label, joined_on in _joined(by_limb):
        put(limb, lesion_id, Mark(joined_on, "joined", f"Ulcer {label} joined", True))
    for limb, number, signed_at in _signed_plans(by_limb):
        put(limb, None, Mark(timezone.localdate(signed_at), "plan", f"Relief plan v{number}", True))
    return marks
