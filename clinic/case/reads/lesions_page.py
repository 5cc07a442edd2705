"""Everything the lesion page shows, read with a constant number of queries."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from django.utils import timezone

from clinic.case.reads.lesion_care import LesionCare, lesion_care
from clinic.curves.reads.healing import LesionHealing, healing_of, measurements_of
from clinic.healing.fared import OwnCounts, chance_sentence, chance_told
from clinic.healing.prognosis import prognosis_told
from clinic.healing.progress import Change, change_between, reduction_percent
from clinic.healing.report import LesionReport
from clinic.models import (
    Imprint,
    Lesion,
    LimbPlan,
    Measurement,
    Photo,
    PlanFlag,
    Prescription,
)
from clinic.relief.reads.watch import flags_standing

__all__ = [
    "LesionPage",
    "MeasurementRow",
    "chances_sentence",
    "lesion_page",
]


@dataclass(frozen=True)
class MeasurementRow:
    """One line of the measurements table, with the change since the line before of the same kind."""

    measurement: Measurement
    change: Change | None
    weeks: float
    reduction: float | None = None


@dataclass(frozen=True)
class LesionPage:
    healing: LesionHealing
    rows: Sequence[MeasurementRow]
    photos: Sequence[Photo]
    prescriptions: Sequence[Prescription]
    running: Prescription | None
    plans: Sequence[LimbPlan]
    imprint: Imprint | None
    chances: str
    plan_flags: Sequence[PlanFlag]
    siblings: Sequence[Lesion]
    care: LesionCare


def _rows(healing: LesionHealing, measured: Sequence[Measurement]) -> list[MeasurementRow]:
    rows: list[MeasurementRow] = []
    before: Measurement | None = None
    by_day = {area.day: area for area in healing.areas}
    run = healing.report.run if healing.report else None
    judged = {area.day for area in run.areas} if run else set()
    first = healing.readings[0].day if healing.readings else None
    for row in measured:
        change = None
        day = row.visit.visited_on
        if (
            before is not None
            and row.area_mm2 is not None
            and (before.method, before.debridement) == (row.method, row.debridement)
        ):
            then = by_day[before.visit.visited_on]
            change = change_between(
                float(before.area_mm2 or 0), float(row.area_mm2), then.method, share=then.share
            )
        reduction = None
        if run is not None and day in judged and row.area_mm2 is not None:
            reduction = reduction_percent(run.first.area, float(row.area_mm2))
        rows.append(MeasurementRow(row, change, (day - first).days / 7 if first else 0.0, reduction))
        if row.area_mm2 is not None:
            before = row
    return rows[::-1]


def _by_then(chance: float, weeks: int, own: OwnCounts | None) -> str:
    """A chance that is exactly 0 is that of a day already past with the wound open."""
    return "that day is past" if chance == 0.0 else chance_told(chance, own, weeks)


def chances_sentence(report: LesionReport | None) -> str:
    """What the forecast says in words: chances always, a date only from the fifth area on; before the third
    area what the facts say."""
    if report is None:
        return ""
    forecast, counts = report.forecast, report.own.counts if report.own else None
    if forecast is None:
        return prognosis_told(report.prognosis) if report.prognosis else ""
    words = (
        f"{chance_sentence(forecast.chance_next_8w, counts)} Estimate, from {forecast.n} areas"
        f"{_by_whom(report)}. By 12 weeks from the first area: {_by_then(forecast.chance_12w, 12, counts)}; "
        f"by 20 weeks: {_by_then(forecast.chance_20w, 20, counts)}."
    )
    if forecast.names_date:
        if forecast.median is None:
            return f"{words} No closing date within a year at this rate."
        low = f"{forecast.low:%-d %b %Y}" if forecast.low else "later than a year"
        high = f"{forecast.high:%-d %b %Y}" if forecast.high else "later than a year"
        words += f" Closing about {forecast.median:%-d %b %Y}; 8 in 10 such wounds between {low} and {high}."
    return words


def _by_whom(report: LesionReport) -> str:
    own = report.own
    return (
        f", by this clinic's own figures of {own.made_on:%-d %b %Y}" if own is not None and own.is_on else ""
    )


def lesion_page(lesion: Lesion) -> LesionPage:
    measured = list(measurements_of([lesion]))
    healing = healing_of(lesion, measured)
    prescriptions = list(
        Prescription.objects.filter(limb=lesion.limb_id, lesions=lesion).select_related("signed_by")
    )
    return LesionPage(
        healing=healing,
        rows=_rows(healing, measured),
        photos=list(lesion.photos.select_related("visit")[:24]),
        prescriptions=prescriptions,
        running=next((p for p in prescriptions if p.stopped_on is None), None),
        plans=list(LimbPlan.objects.filter(lesions=lesion).select_related("plan", "created_by")),
        imprint=lesion.imprints.order_by("-taken_on", "-pk").first(),
        plan_flags=list(flags_standing(limb_plan__lesions=lesion)),
        chances=chances_sentence(healing.report),
        care=lesion_care(lesion, healing, timezone.localdate()),
        siblings=list(
            Lesion.objects.filter(limb__person=lesion.limb.person_id)
            .exclude(pk=lesion.pk)
            .select_related("limb")
            .order_by("-first_seen_on")
        ),
    )
