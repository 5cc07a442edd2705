"""The seam: rows of measurements become healing values. Every page that judges a wound reads it from here."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from django.utils import timezone

from clinic.healing.report import LesionReport, lesion_report
from clinic.healing.series import Area, Method, WoundState
from clinic.healing.verdict import Findings, VerdictWord
from clinic.models import (
    AreaMethod,
    Depth,
    Event,
    EventKind,
    Lesion,
    LesionState,
    LimbPlan,
    Measurement,
    Prescription,
    VisitState,
)

from .repeat import trace_errors

__all__ = ["BREAKING_EVENTS", "Course", "LesionHealing", "Mark", "courses_of", "healing_of", "healings_of"]

#: Events after which the course of a wound may change: the forecast's trend widens there.
BREAKING_EVENTS = (EventKind.REVASCULARISATION, EventKind.SURGERY, EventKind.INSOLE_REPLACED)
_DEPTHS = [value for value, _ in Depth.choices]
_WORD_KIND = {
    VerdictWord.HEALED: "healed",
    VerdictWord.CLOSED: "to_confirm",
    VerdictWord.WORSENING: "worsening",
    VerdictWord.TOO_EARLY: "too_early",
    VerdictWord.STALLED: "stalled",
    VerdictWord.SLOW: "slow",
    VerdictWord.ON_COURSE: "on_course",
}


@dataclass(frozen=True)
class Mark:
    """Something to show in the strip under a healing curve."""

    day: date
    kind: str
    words: str
    breaks: bool


@dataclass(frozen=True)
class Course:
    """What was measured and what happened, not judged."""

    lesion: Lesion
    measurements: tuple[Measurement, ...]
    areas: tuple[Area, ...]
    marks: tuple[Mark, ...]

    @property
    def breaks(self) -> list[date]:
        """Days after which the course may change."""
        return [mark.day for mark in self.marks if mark.breaks]


@dataclass(frozen=True)
class LesionHealing:
    """A lesion with everything its curve, its row and its verdict need."""

    lesion: Lesion
    measurements: tuple[Measurement, ...]
    areas: tuple[Area, ...]
    marks: tuple[Mark, ...]
    report: LesionReport | None

    @property
    def last(self) -> Measurement | None:
        return self.measurements[-1] if self.measurements else None

    @property
    def kind(self) -> str:
        """Key of the state's shape, colour and word."""
        if self.lesion.state == LesionState.HEALED:
            return "healed"
        if self.report is None:
            return "too_early"
        return _WORD_KIND[self.report.verdict.word]

    @property
    def words(self) -> str:
        if self.lesion.state == LesionState.HEALED:
            return "healed"
        if self.lesion.state == LesionState.ENDED:
            return self.lesion.get_outcome_display().lower()
        if self.report is None:
            return "not measured yet"
        return self.report.verdict.word.value

    @property
    def sentence(self) -> str:
        """The verdict sentence under a lesion's title."""
        if self.report is None:
            return "No area measured yet."
        if self.lesion.state == LesionState.ENDED:
            return f"Ended: {self.lesion.get_outcome_display().lower()}."
        return " ".join(reason.text for reason in self.report.verdict.reasons)


def _areas(measurements: Iterable[Measurement], share: float | None = None) -> tuple[Area, ...]:
    """Areas; `share` is the clinic's own error of a traced one, where it is known."""
    return tuple(
        Area(
            day=m.visit.visited_on,
            area=float(m.area_mm2),
            method=Method.TRACED if m.method == AreaMethod.TRACED else Method.ELLIPSE,
            state=WoundState(m.debridement),
            share=share if m.method == AreaMethod.TRACED else None,
        )
        for m in measurements
        if m.area_mm2 is not None
    )


def _findings(lesion: Lesion, measurements: Sequence[Measurement]) -> Findings:
    depths = [_DEPTHS.index(m.depth) for m in measurements if m.depth]
    grades = [m.infection_grade for m in measurements if m.infection_grade is not None]
    return Findings(
        healed_confirmed=lesion.state == LesionState.HEALED,
        covered=bool(measurements and measurements[-1].covered_dry) or lesion.state == LesionState.TO_CONFIRM,
        infection_up=len(grades) > 1 and grades[-1] > grades[-2] and grades[-1] > 1,
        depth_up=len(depths) > 1 and depths[-1] > depths[-2],
    )


def _standing(lesions: Sequence[Lesion]) -> dict[int, list[Measurement]]:
    rows = (
        Measurement.objects.filter(lesion__in=lesions, visit__state=VisitState.STANDS)
        .select_related("visit")
        .order_by("visit__visited_on", "pk")
    )
    by_lesion: dict[int, list[Measurement]] = defaultdict(list)
    for row in rows:
        by_lesion[row.lesion_id].append(row)
    return by_lesion


def _event_words(event: Event) -> str:
    """An event as the strip names it; a decision by what it is about."""
    kind = str(event.get_kind_display())
    about = event.note.partition(":")[0].lower()
    return f"{kind}: {about}" if event.kind == EventKind.DECISION and about else kind


def _marks(lesions: Sequence[Lesion]) -> dict[int, list[Mark]]:
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

    limbs = list(by_limb)
    for event in Event.objects.filter(limb__in=limbs):
        put(
            event.limb_id,
            event.lesion_id,
            Mark(event.happened_on, event.kind, _event_words(event), event.kind in BREAKING_EVENTS),
        )
    light = Prescription.objects.defer("facts", "advice", "forecast_shown", "content")
    for prescription in light.filter(limb__in=limbs):
        day = prescription.fitted_on or prescription.prescribed_on
        put(
            prescription.limb_id,
            None,
            Mark(day, "device", prescription.get_device_class_display(), True),
        )
        if prescription.stopped_on:
            put(
                prescription.limb_id,
                None,
                Mark(prescription.stopped_on, "device_off", "Device stopped", True),
            )
    signed = LimbPlan.objects.filter(limb__in=limbs, plan__signed_at__isnull=False).select_related("plan")
    for link in signed.defer("plan__spec", "plan__result"):
        signed_at = link.plan.signed_at
        if signed_at is None:
            continue
        put(
            link.limb_id,
            None,
            Mark(timezone.localdate(signed_at), "plan", f"Relief plan v{link.plan.number}", True),
        )
    return marks


def courses_of(lesions: Iterable[Lesion]) -> dict[int, Course]:
    """Measurements, areas and marks of many lesions without judging them; five queries, keyed by lesion."""
    wanted = list(lesions)
    if not wanted:
        return {}
    measured, marked = _standing(wanted), _marks(wanted)
    shares = trace_errors(wanted)
    return {
        lesion.pk: Course(
            lesion,
            tuple(measured[lesion.pk]),
            _areas(measured[lesion.pk], shares.get(lesion.pk)),
            tuple(sorted(marked[lesion.pk], key=lambda mark: (mark.day, mark.words))),
        )
        for lesion in wanted
    }


def healings_of(lesions: Iterable[Lesion]) -> dict[int, LesionHealing]:
    """Judge many lesions with a constant number of queries; keyed by lesion."""
    answer = {}
    for pk, course in courses_of(lesions).items():
        report = (
            lesion_report(course.areas, _findings(course.lesion, course.measurements), course.breaks)
            if course.areas
            else None
        )
        answer[pk] = LesionHealing(course.lesion, course.measurements, course.areas, course.marks, report)
    return answer


def healing_of(lesion: Lesion) -> LesionHealing:
    """Judge one lesion."""
    return healings_of([lesion])[lesion.pk]
