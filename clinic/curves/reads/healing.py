"""The seam: rows of measurements become healing values. Every page that judges a wound reads it from here."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import lru_cache
from typing import Any, NamedTuple

from django.db.models import QuerySet
from django.utils import timezone

from clinic.capture.reads.repeat import trace_errors
from clinic.curves.reads.marks import Mark, marks_of
from clinic.curves.reads.own_figures import own_figures
from clinic.curves.reads.prognosis import backgrounds, prognosis_facts
from clinic.guidelines.failed_care import NOT_HEALING
from clinic.healing.fared import chance_sentence
from clinic.healing.prognosis import prognosis_told
from clinic.healing.report import LesionReport, lesion_report
from clinic.healing.series import LONGEST_GAP, Area, Method, WoundState
from clinic.healing.verdict import Findings, VerdictWord
from clinic.models import (
    AreaMethod,
    Depth,
    Lesion,
    LesionState,
    Measurement,
    VisitState,
)

__all__ = [
    "READING",
    "Course",
    "LesionHealing",
    "Reading",
    "courses_of",
    "healing_of",
    "healings_of",
    "measurements_of",
    "not_healing_since",
]

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


class Reading(NamedTuple):
    """What a curve, a verdict and a spark take from one measurement; lists read hundreds of them."""

    lesion_id: int
    day: date
    method: str
    debridement: str
    area_mm2: float | None
    covered_dry: bool
    depth: str
    infection_grade: int | None
    not_measured_because: str
    deep_infection: bool | None
    probe_to_bone: bool | None
    wear: str

    @property
    def area_cm2(self) -> float | None:
        return None if self.area_mm2 is None else self.area_mm2 / 100


#: The columns of a reading, in its order.
READING = (
    "lesion_id",
    "visit__visited_on",
    "method",
    "debridement",
    "area_mm2",
    "covered_dry",
    "depth",
    "infection_grade",
    "not_measured_because",
    "deep_infection",
    "probe_to_bone",
    "visit__wear",
)


@dataclass(frozen=True)
class Course:
    """What was measured and what happened, not judged."""

    lesion: Lesion
    readings: tuple[Reading, ...]
    areas: tuple[Area, ...]
    marks: tuple[Mark, ...]

    @property
    def unseen_since_reopening(self) -> bool:
        """Found open again, and not measured since: what was found before says nothing of it now."""
        again = self.lesion.reopened_on
        return again is not None and self.readings[-1].day < again

    @property
    def breaks(self) -> list[date]:
        """Days after which the course may change."""
        return [mark.day for mark in self.marks if mark.breaks]

    @property
    def covered(self) -> tuple[date, ...]:
        """Days on which it was found covered and dry."""
        return tuple(one.day for one in self.readings if one.covered_dry)


@dataclass(frozen=True)
class LesionHealing:
    """A lesion with everything its curve, its row and its verdict need."""

    lesion: Lesion
    readings: tuple[Reading, ...]
    areas: tuple[Area, ...]
    marks: tuple[Mark, ...]
    report: LesionReport | None

    @property
    def last(self) -> Reading | None:
        return self.readings[-1] if self.readings else None

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
        return self.report.verdict.word.label

    @property
    def sentence(self) -> str:
        """The verdict sentence under a lesion's title; of an open one with the chance of closure, once."""
        if self.report is None:
            again = self.lesion.reopened_on
            return f"Reopened on {again:%-d %b %Y}; no area since." if again else "No area measured yet."
        if self.lesion.state == LesionState.ENDED:
            return f"Ended: {self.lesion.get_outcome_display().lower()}."
        reasons = self.report.verdict.reasons
        words = [reason.text for reason in reasons]
        if (
            self.lesion.state == LesionState.OPEN
            and self.report.forecast
            and not any(reason.chance for reason in reasons)
        ):
            words.append(self.outlook)
        return " ".join(words)

    @property
    def outlook(self) -> str:
        """The chance of closing with how such chances fared, or that it cannot be told yet."""
        report = self.report
        if report is not None and report.forecast is None and report.prognosis is not None:
            return prognosis_told(report.prognosis)
        if report is None or report.forecast is None:
            return "No forecast: closing cannot be told yet."
        chance = report.forecast.chance_next_8w
        return chance_sentence(chance, report.own.counts if report.own else None)


#: A forecast takes milliseconds and the review list shows one for each lesion. A report follows from nothing
#: but its key: areas, findings, days of change, facts before the course and the clinic's own figures; no
#: name, number or free text is among them. 15 kB each (measured).
_judged = lru_cache(maxsize=2000)(lesion_report)


def _areas(readings: Sequence[Reading], share: float | None) -> tuple[Area, ...]:
    """Areas; `share` is the clinic's own error of a traced one, where it is known."""
    return tuple(
        Area(
            day=m.day,
            area=float(m.area_mm2),
            method=Method.TRACED if m.method == AreaMethod.TRACED else Method.ELLIPSE,
            state=WoundState(m.debridement),
            share=share if m.method == AreaMethod.TRACED else None,
        )
        for m in readings
        if m.area_mm2 is not None
    )


def _findings(state: str, readings: Sequence[Reading]) -> Findings:
    depths = [_DEPTHS.index(m.depth) for m in readings if m.depth]
    grades = [m.infection_grade for m in readings if m.infection_grade is not None]
    return Findings(
        healed_confirmed=state == LesionState.HEALED,
        covered=bool(readings and readings[-1].covered_dry) or state == LesionState.TO_CONFIRM,
        infection_up=len(grades) > 1 and grades[-1] > grades[-2] and grades[-1] > 1,
        depth_up=len(depths) > 1 and depths[-1] > depths[-2],
    )


def measurements_of(lesions: Any) -> QuerySet[Measurement]:
    """Measurements that stand, in the order of their visits."""
    return (
        Measurement.objects.filter(lesion__in=lesions, visit__state=VisitState.STANDS)
        .select_related("visit")
        .order_by("visit__visited_on", "pk")
    )


def _columns(lesions: Any) -> QuerySet[Any, Any]:
    return measurements_of(lesions).values_list(*READING)


def _reading(row: Measurement) -> Reading:
    return Reading(
        row.lesion_id,
        row.visit.visited_on,
        row.method,
        row.debridement,
        row.area_mm2,
        row.covered_dry,
        row.depth,
        row.infection_grade,
        row.not_measured_because,
        row.deep_infection,
        row.probe_to_bone,
        row.visit.wear,
    )


def _readings(lesions: Sequence[Lesion], rows: Iterable[Measurement] | None) -> dict[int, list[Reading]]:
    """By lesion; from rows that were read already, or by one query of the few columns needed."""
    by_lesion: dict[int, list[Reading]] = defaultdict(list)
    if rows is None:
        found_rows: Iterable[Reading] = map(Reading._make, _columns([lesion.pk for lesion in lesions]))
    else:
        found_rows = map(_reading, rows)
    for reading in found_rows:
        by_lesion[reading.lesion_id].append(reading)
    return by_lesion


def courses_of(
    lesions: Iterable[Lesion], rows: Iterable[Measurement] | None = None, whole: bool = True
) -> dict[int, Course]:
    """Measurements, areas and marks of many lesions without judging them; seven queries, keyed by lesion.

    A page that has read the whole rows of `measurements_of` hands them over, and one query is spared; one
    that shows no strip asks for the marks that bend a curve alone (`whole`), and two are.
    """
    wanted = list(lesions)
    if not wanted:
        return {}
    measured, marked = _readings(wanted, rows), marks_of(wanted, whole)
    shares = trace_errors(wanted)
    answer = {}
    for lesion in wanted:
        readings, share = tuple(measured[lesion.pk]), shares.get(lesion.pk)
        marks = tuple(sorted(marked[lesion.pk], key=lambda mark: (mark.day, mark.words)))
        answer[lesion.pk] = Course(lesion, readings, _areas(readings, share), marks)
    return answer


def healings_of(
    lesions: Iterable[Lesion], rows: Iterable[Measurement] | None = None, curves: bool = False
) -> dict[int, LesionHealing]:
    """Judge many lesions with a constant number of queries; keyed by lesion. Only charts need curves.

    Every page takes its verdicts, chances and dates from here.
    """
    answer, today = {}, timezone.localdate()
    wanted = list(lesions)
    known = backgrounds(wanted)
    own = own_figures({one.site_id for one in known.values()})
    for pk, course in courses_of(wanted, rows, whole=curves).items():
        report = None
        if course.areas and not course.unseen_since_reopening:
            findings = _findings(course.lesion.state, course.readings)
            breaks, covered = tuple(course.breaks), course.covered
            facts = prognosis_facts(course.areas, course.readings, known[pk])
            figures = own.get(known[pk].site_id)
            report = _judged(course.areas, findings, breaks, covered, curves, facts, figures)
        # The verdict is that of the last area; what is to come cannot be told eight weeks after it.
        if report is not None and (today - report.run.last.day).days > LONGEST_GAP:
            report = replace(report, forecast=None, prognosis=None)
        answer[pk] = LesionHealing(course.lesion, course.readings, course.areas, course.marks, report)
    return answer


def healing_of(lesion: Lesion, rows: Iterable[Measurement] | None = None) -> LesionHealing:
    """Judge one lesion."""
    return healings_of([lesion], rows, curves=True)[lesion.pk]


def not_healing_since(healing: LesionHealing) -> date | None:
    """From which area on every verdict has read slow, stalled or worsening; None where the last does not.

    Each earlier day is judged by what was known on it; no query.
    """
    since: date | None = None
    if healing.report is None or healing.kind not in NOT_HEALING:
        return since
    since = healing.areas[-1].day
    breaks = tuple(mark.day for mark in healing.marks if mark.breaks)
    for day in sorted({area.day for area in healing.areas[:-1]}, reverse=True):
        known = tuple(one for one in healing.readings if one.day <= day)
        report = _judged(
            tuple(area for area in healing.areas if area.day <= day),
            _findings(LesionState.OPEN, known),
            tuple(one for one in breaks if one <= day),
            tuple(one.day for one in known if one.covered_dry),
            False,
        )
        if _WORD_KIND[report.verdict.word] not in NOT_HEALING:
            break
        since = day
    return since
