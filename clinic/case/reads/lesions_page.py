"""Everything the lesion page shows, read with a constant number of queries."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from clinic.alerts.reads.flags import flags_open
from clinic.case.reads.lesion_care import LesionCare, lesion_care
from clinic.case.reads.waiting import (
    Wait,
    by_urgency,
    waits_for_bone,
    waits_for_closing,
    waits_for_course,
    waits_for_device,
    waits_for_flags,
    waits_for_items,
    waits_for_look,
    waits_for_plan,
    waits_for_result,
    waits_for_review,
    waits_for_visit,
)
from clinic.curves.reads.healing import LesionHealing, healing_of, measurements_of
from clinic.evidence.reads.standing import LimbStanding
from clinic.guidelines.due import sealed_past, visit_standing
from clinic.healing.fared import OwnCounts, chance_told
from clinic.healing.prognosis import prognosis_told
from clinic.healing.progress import Change, change_between, reduction_percent
from clinic.healing.report import LesionReport
from clinic.models import (
    Imprint,
    Lesion,
    LesionState,
    LimbPlan,
    Measurement,
    PersonState,
    Photo,
    PlanFlag,
    Prescription,
    Visit,
    VisitState,
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
    #: What the limb is in, whether or not it was chosen for this lesion.
    worn: Prescription | None
    plans: Sequence[LimbPlan]
    imprint: Imprint | None
    chances: str
    plan_flags: Sequence[PlanFlag]
    siblings: Sequence[Lesion]
    care: LesionCare
    last_visit: Visit | None
    next_overdue: bool
    device_overdue: bool
    #: What the ulcer waits for today; what harms if it waits stands first.
    waits: tuple[Wait, ...]

    @property
    def plan(self) -> LimbPlan | None:
        """The plan in force, else the newest draft."""
        signed = (link for link in self.plans if link.plan.state == "signed" and link.ended_on is None)
        return next(signed, None) or next((link for link in self.plans if link.plan.state == "draft"), None)


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
    """What the forecast says beside the verdict sentence, which has the next 8 weeks: later chances always, a
    date only from the fifth area on; before the third area what the facts say."""
    if report is None:
        return ""
    forecast, counts = report.forecast, report.own.counts if report.own else None
    if forecast is None:
        return prognosis_told(report.prognosis) if report.prognosis else ""
    words = (
        f"Chances are estimates, from {forecast.n} areas{_by_whom(report)}. "
        f"By 12 weeks from the first area: {_by_then(forecast.chance_12w, 12, counts)}; "
        f"by 20 weeks: {_by_then(forecast.chance_20w, 20, counts)}."
    )
    if forecast.names_date:
        if forecast.median is None:
            return f"{words} No closing date within a year at this rate."
        low = f"{forecast.low:%-d %b %Y}" if forecast.low else "later than a year"
        high = f"{forecast.high:%-d %b %Y}" if forecast.high else "later than a year"
        words += f" Closing about {forecast.median:%-d %b %Y}; 8 in 10 such ulcers between {low} and {high}."
    return words


def _by_whom(report: LesionReport) -> str:
    own = report.own
    return (
        f", by this clinic's own figures of {own.made_on:%-d %b %Y}" if own is not None and own.is_on else ""
    )


def lesion_page(lesion: Lesion, foot: LimbStanding) -> LesionPage:
    measured = list(measurements_of([lesion]))
    healing = healing_of(lesion, measured)
    person = lesion.limb.person
    prescriptions = list(
        Prescription.objects.filter(limb=lesion.limb_id, lesions=lesion).select_related("signed_by")
    )
    worn = (
        Prescription.objects.filter(limb=lesion.limb_id, stopped_on=None)
        .select_related("signed_by", "limb")
        .defer("facts", "advice", "forecast_shown", "content")
        .prefetch_related("lesions")
        .first()
    )
    plans = list(LimbPlan.objects.filter(lesions=lesion).select_related("plan", "created_by"))
    plan_flags = list(flags_standing(limb_plan__lesions=lesion))
    care = lesion_care(lesion, healing, foot)
    last_visit = person.visits.filter(state=VisitState.STANDS).first()
    next_on = last_visit.next_on if last_visit else None
    in_care = person.state == PersonState.IN_CARE
    return LesionPage(
        healing=healing,
        rows=_rows(healing, measured),
        photos=list(lesion.photos.standing().select_related("visit")[:24]),
        prescriptions=prescriptions,
        running=next((p for p in prescriptions if p.stopped_on is None), None),
        worn=worn,
        plans=plans,
        imprint=lesion.imprints.order_by("-taken_on", "-pk").first(),
        plan_flags=plan_flags,
        chances=chances_sentence(healing.report),
        care=care,
        siblings=list(
            Lesion.objects.filter(limb__person=lesion.limb.person_id)
            .exclude(pk=lesion.pk)
            .select_related("limb")
            .order_by("-first_seen_on")
        ),
        last_visit=last_visit,
        next_overdue=visit_standing(next_on, foot.day, in_care=in_care, open_lesions=lesion.is_open)
        == "overdue",
        device_overdue=bool(worn and worn.stays_closed and sealed_past(worn.open_by, foot.day)),
        waits=by_urgency(
            waits_for_flags(flags_open(person)),
            waits_for_device(worn, foot.day),
            _waits_of_the_open(lesion, plans, plan_flags, last_visit, foot) if lesion.is_open else (),
            waits_for_result(care.results),
            waits_for_course(care.courses),
            waits_for_bone(lesion, care.bone),
            waits_for_review(lesion, care.verdict, care.review_due),
            waits_for_items(care.items),
        ),
    )


def _waits_of_the_open(
    lesion: Lesion,
    plans: Sequence[LimbPlan],
    flags: Sequence[PlanFlag],
    last_visit: Visit | None,
    foot: LimbStanding,
) -> Iterator[Wait]:
    """What waits only while an ulcer is open or to be confirmed (one query)."""
    person = lesion.limb.person
    if lesion.state == LesionState.TO_CONFIRM:
        yield from waits_for_closing(lesion, person.site.confirm_closure_days, foot.day)
    yield from waits_for_visit(person, last_visit, foot.day, open_lesions=True)
    yield from waits_for_look(lesion.looks.filter(answer="").select_related("created_by"))
    yield from waits_for_plan(plans, flags)
