"""How well have our forecasts done here: said against happened, the unclosed included."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from clinic.audit.reads.followup import FollowUp, follow_ups
from clinic.curves.reads.healing import Course, courses_of
from clinic.curves.reads.own_figures import own_figures
from clinic.healing.cohort import Ending
from clinic.healing.lookback import (
    Followed,
    Looked,
    Outcome,
    ReliabilityBin,
    Span,
    brier,
    look_back,
    reliability,
)
from clinic.healing.own import Own, own_of, pasts_of
from clinic.healing.recalibration import LEAST_CLOSED
from clinic.models import TRUE_LESIONS, Lesion, LesionState, Prescription, Site

__all__ = ["WEEKS", "ForecastRecord", "Line", "Shown", "Week", "forecast_record", "own_now"]

WEEKS = (4, 8)
NEXT_8_WEEKS = 56
LINES = 200


@dataclass(frozen=True)
class Line:
    """One lesion's forecast of that week and what came of it."""

    lesion: Lesion
    looked: Looked


@dataclass(frozen=True)
class Week:
    """All forecasts of one week."""

    week: int
    lines: tuple[Line, ...]
    bins: tuple[ReliabilityBin, ...]
    score: tuple[float, float] | None
    outcomes: tuple[tuple[str, int], ...]
    spans: tuple[tuple[str, int], ...]

    @property
    def count(self) -> int:
        return len(self.lines)

    @property
    def known(self) -> int:
        """How many of them have an outcome at twelve weeks."""
        return sum(line.looked.outcome is not Outcome.UNKNOWN for line in self.lines)

    @property
    def shown(self) -> tuple[Line, ...]:
        return self.lines[:LINES]


@dataclass(frozen=True)
class Shown:
    """What stood on the page when a device was chosen, and whether the lesion closed in the 8 weeks after."""

    prescription: Prescription
    lesion: Lesion
    forecast: dict[str, Any]
    closed: date | None
    happened: str


@dataclass(frozen=True)
class OwnFigures:
    """What this clinic's closed courses make of the forecasts: the row in force; how many have closed."""

    own: Own | None
    closed: int
    least: int = LEAST_CLOSED

    @property
    def examples(self) -> tuple[tuple[int, int], ...]:
        """Chances of closing within 8 weeks as said, and as this clinic's own line puts them [%]."""
        line = self.own.line if self.own else None
        return () if line is None else tuple((p, round(100 * line.of(p / 100))) for p in (10, 30, 50, 70, 90))

    @property
    def ends(self) -> tuple[int, int] | None:
        """Chances said [%] between which eight in ten of this clinic's courses closed."""
        tails = self.own.tails if self.own else None
        return None if tails is None else (round(100 * tails.low), round(100 * tails.high))


@dataclass(frozen=True)
class ForecastRecord:
    lesions: int
    weeks: tuple[Week, ...]
    shown: tuple[Shown, ...]
    own: OwnFigures


@dataclass(frozen=True)
class _Followed:
    lesions: dict[str, Lesion]
    ends: dict[int, FollowUp]
    wounds: tuple[Followed, ...]


def _follow(site: Site, today: date) -> _Followed:
    """Every lesion of a site with areas, as it is known today; seven queries."""
    lesions = list(
        Lesion.objects.filter(TRUE_LESIONS, limb__person__site=site)
        .select_related("limb__person")
        .order_by("-first_seen_on", "-pk")
    )
    courses, ends = courses_of(lesions, whole=False), follow_ups(lesions, today)
    return _Followed(
        {str(lesion.pk): lesion for lesion in lesions},
        ends,
        tuple(
            _followed(courses[lesion.pk], ends[lesion.pk]) for lesion in lesions if courses[lesion.pk].areas
        ),
    )


def own_now(site: Site, today: date) -> Own:
    """What the closed courses of a clinic say today; kept by `clinic.audit.writes.recalibration`."""
    return own_of(pasts_of(look_back(_follow(site, today).wounds, WEEKS[0])), today)


def forecast_record(site: Site, today: date) -> ForecastRecord:
    """Every lesion of a site with its past forecasts; nine queries whatever their number."""
    found = _follow(site, today)
    looked = {week: look_back(found.wounds, week) for week in WEEKS}
    closed = sum(past.closed is not None for past in pasts_of(looked[WEEKS[0]]))
    return ForecastRecord(
        lesions=len(found.wounds),
        weeks=tuple(_week(week, looked[week], found.lesions) for week in WEEKS),
        own=OwnFigures(own_figures([site.pk]).get(site.pk), closed),
        shown=tuple(_shown(site, found.ends, today)),
    )


def _closed(lesion: Lesion) -> date | None:
    """Found covered and dry, confirmed or waiting for it."""
    return lesion.closed_on if lesion.state in (LesionState.TO_CONFIRM, LesionState.HEALED) else None


def _followed(course: Course, end: FollowUp) -> Followed:
    closed = _closed(course.lesion)
    last = max(end.last_seen, course.areas[-1].day, closed or date.min)
    return Followed(
        key=str(course.lesion.pk),
        areas=course.areas,
        breaks=tuple(course.breaks),
        closed=closed,
        known_until=last,
        ended=end.ending in (Ending.AMPUTATION, Ending.DEATH),
    )


def _week(week: int, looked: Sequence[Looked], lesions: dict[str, Lesion]) -> Week:
    outcomes, spans = Counter(one.outcome for one in looked), Counter(one.span for one in looked)
    return Week(
        week=week,
        lines=tuple(Line(lesions[one.key], one) for one in looked),
        bins=reliability(looked),
        score=brier(looked),
        outcomes=tuple((str(outcome), outcomes[outcome]) for outcome in Outcome),
        spans=tuple((str(span), spans[span]) for span in Span),
    )


def _shown(site: Site, ends: dict[int, FollowUp], today: date) -> list[Shown]:
    rows = (
        Prescription.objects.filter(limb__person__site=site, forecast_shown__isnull=False)
        .select_related("limb__person")
        .prefetch_related("lesions__limb__person")
        .defer("facts", "advice", "content")
        .order_by("-prescribed_on", "-pk")
    )
    shown = []
    for prescription in rows:
        said_of = prescription.forecast_shown or {}
        for lesion in prescription.lesions.all():
            forecast = said_of.get(lesion.label)
            if forecast is None or "chance_next_8w" not in forecast:
                continue
            by = prescription.prescribed_on + timedelta(days=NEXT_8_WEEKS)
            closed = _closed(lesion)
            if closed is not None:
                happened = "closed" if closed <= by else "not closed by then"
            else:
                end = ends[lesion.pk]
                over = end.last_seen >= by or end.ending in (Ending.AMPUTATION, Ending.DEATH)
                happened = "not closed by then" if over else "not known yet"
            shown.append(Shown(prescription, lesion, forecast, closed, happened))
    return shown
