"""Reading for the relief bench and the plan page."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.db.models import Prefetch
from django.db.models.fields.json import KeyTextTransform

from clinic.charts.agreement import MeasuredPoint
from clinic.models import (
    OPEN_STATES,
    Imprint,
    Lesion,
    Limb,
    LimbPlan,
    Measurement,
    Prescription,
    Site,
    User,
    VisitState,
)
from offload.core.plan.measured import RunningBias, running_bias
from offload.core.pressure.agreement import PeakAgreement, agreement_of
from offload.core.shapes.insole import Insole, place_on_insole
from offload.core.sheets.sheet_code import normalised
from offload.models import PlanMeasurement, ReliefPlan
from offload.plans.numbers import numbers_of

__all__ = [
    "MeasuredPlans",
    "measured_plans",
    "BenchLesion",
    "bench_lesions",
    "bias_of",
    "devices_with",
    "plan_of_code",
    "plans_of_limb",
    "start_of",
]

START_LENGTH, START_WIDTH = 14.0, 10.0  # [mm] until an imprint or a measurement says otherwise


@dataclass(frozen=True)
class BenchLesion:
    """One open lesion of a limb and the numbers with which it comes onto the bench."""

    lesion: Lesion
    on_insole: bool
    start: Mapping[str, Any]
    site_place: tuple[float, float] | None

    def is_at_site_name(self, x: float, y: float) -> bool:
        """Whether a place is still the one that follows from the site's name."""
        return (
            self.site_place is not None
            and max(abs(x - self.site_place[0]), abs(y - self.site_place[1])) < 0.05
        )


def bench_lesions(limb: Limb) -> list[Lesion]:
    """Open lesions of a limb with their imprints and measurements (three queries)."""
    return list(
        limb.lesions.filter(state__in=OPEN_STATES)
        .select_related("limb")
        .prefetch_related(
            Prefetch("imprints", queryset=Imprint.objects.order_by("-taken_on", "-pk")),
            Prefetch(
                "measurements",
                queryset=Measurement.objects.exclude(visit__state=VisitState.IN_ERROR)
                .filter(area_mm2__gt=0)
                .order_by("-visit__visited_on", "-pk"),
            ),
        )
        .order_by("label", "pk")
    )


def start_of(
    lesion: Lesion, insole: Insole, source: ReliefPlan | None = None, letter: str = ""
) -> BenchLesion:
    """Where a lesion begins on the bench: from the plan it is copied from, where it has `letter`; its last
    imprint; or its site's name.
    """
    place = lesion.foot_site
    if not place.insole_plan:
        return BenchLesion(lesion, False, {}, None)
    site_place = place_on_insole(insole, _landmark(place.id), *place.map_xy)
    copied = _copied(lesion, source, letter)
    if copied is not None:
        return BenchLesion(lesion, True, copied, site_place)
    imprints = list(lesion.imprints.all())
    if imprints:
        return BenchLesion(
            lesion,
            True,
            {"include": True, "how": imprints[0].how, **numbers_of(imprints[0].outline_mm)},
            site_place,
        )
    length, width = _size(lesion)
    start = {
        "include": True,
        "how": "placed",
        "x_mm": site_place[0],
        "y_mm": site_place[1],
        "length_mm": length,
        "width_mm": width,
        "angle_deg": 0.0,
        "outline": "",
    }
    return BenchLesion(lesion, True, start, site_place)


def letters_in(source: LimbPlan | None) -> dict[int, str]:
    """Ulcer -> its letter in a plan; an ulcer that came back goes by the one that healed."""
    return {one.pk: one.label for one in source.lesions.all()} if source else {}


def plan_that_healed(lesions: Sequence[Lesion]) -> LimbPlan | None:
    """The newest plan signed for what healed before, while none of these ulcers that came back has one."""
    before = [one.recurs_of_id for one in lesions if one.recurs_of_id]
    if not before or LimbPlan.objects.filter(lesions__in=lesions).exists():
        return None
    signed = LimbPlan.objects.filter(lesions__in=before, plan__signed_at__isnull=False)
    rows = signed.select_related("plan__replaces", "limb__person__site").prefetch_related("lesions__limb")
    return rows.order_by("-pk").first()


def plan_of_code(user: User, code: str) -> LimbPlan | None:
    """The plan under a sheet code, if it is of one of the user's sites; typed small or with spaces it is
    the same.
    """
    return (
        LimbPlan.objects.visible_to(user)
        .select_related("plan__replaces", "limb__person__site")
        .prefetch_related("lesions__limb", "plan__replaced_by", "plan__steps", "plan__measurements")
        .filter(plan__code=normalised(code))
        .first()
    )


def plans_of_limb(limb: Limb) -> Sequence[LimbPlan]:
    """All plans of a limb, the newest first."""
    return list(LimbPlan.objects.filter(limb=limb).select_related("plan").order_by("-pk"))


@dataclass(frozen=True)
class MeasuredPlans:
    """Predicted against measured over a site's plans: peaks with the cut, and what the cut takes off."""

    rows: Sequence[PlanMeasurement]
    peak: PeakAgreement | None
    fall: PeakAgreement | None

    @property
    def points(self) -> list[MeasuredPoint]:
        """Measured over predicted peaks, as points of a chart."""
        return [
            MeasuredPoint(
                f"{row.plan.code}, ulcer {row.label}",
                row.predicted_after_kpa,
                row.with_kpa,
                row.baseline == "measured",  # type: ignore[attr-defined]
            )
            for row in self.rows
        ]


def measured_plans(site: Site) -> MeasuredPlans:
    """All measured pairs of a site, the newest first (one query)."""
    own = LimbPlan.objects.filter(limb__person__site=site).values("plan")
    rows = list(
        PlanMeasurement.objects.filter(plan__in=own)
        .select_related("plan")
        .defer("plan__result", "plan__spec")
        .annotate(baseline=KeyTextTransform("baseline", KeyTextTransform("pressure", "plan__result")))
        .order_by("-measured_on", "-pk")
    )
    return MeasuredPlans(
        rows,
        agreement_of([(row.predicted_after_kpa, row.with_kpa) for row in rows]),
        agreement_of(
            [
                (
                    _fall(row.predicted_before_kpa, row.predicted_after_kpa),
                    _fall(row.without_kpa, row.with_kpa),
                )
                for row in rows
                if row.predicted_before_kpa > 0
            ]
        ),
    )


def bias_of(site: Site) -> RunningBias:
    """How far the model was off over the site's measured pairs (one query)."""
    own = LimbPlan.objects.filter(limb__person__site=site).values("plan")
    rows = PlanMeasurement.objects.filter(plan__in=own, basis="patch").values_list(
        "predicted_before_kpa", "predicted_after_kpa", "without_kpa", "with_kpa"
    )
    return running_bias(list(rows))


def _fall(before: float, after: float) -> float:
    """By how much a peak falls [%]."""
    return 100.0 * (1.0 - after / before)


def devices_with(plan: ReliefPlan, user: User) -> Sequence[Prescription]:
    """Devices that carry a plan."""
    return list(
        Prescription.objects.visible_to(user).filter(relief_plan=plan).order_by("-prescribed_on", "-pk")
    )


def _size(lesion: Lesion) -> tuple[float, float]:
    """Length and width of the last measured wound; from an area alone, an ellipse of the usual proportion."""
    last = next(iter(lesion.measurements.all()), None)
    if last is None or last.area_mm2 is None:
        return START_LENGTH, START_WIDTH
    if last.length_mm and last.width_mm:
        return max(1.0, float(last.length_mm)), max(1.0, float(last.width_mm))
    ratio = START_LENGTH / START_WIDTH
    width = max(1.0, math.sqrt(float(last.area_mm2) * 4.0 / (math.pi * ratio)))
    return round(width * ratio, 1), round(width, 1)


def _landmark(place: str) -> str | None:
    """Name of the insole's landmark under a place of the closed list."""
    if place == "plantar_hallux":
        return "hallux"
    if place == "heel_central":
        return "heel"
    if head := re.fullmatch(r"mth_(\d)", place):
        return f"metatarsal_head_{head.group(1)}"
    if toe := re.fullmatch(r"toe_pulp_(\d)", place):
        return f"toe_{toe.group(1)}"
    return None


def _copied(lesion: Lesion, source: ReliefPlan | None, letter: str) -> dict[str, Any] | None:
    if source is None or not letter:
        return None
    for one in source.spec["lesions"]:
        if one["label"] == letter:
            how = next((imprint.how for imprint in lesion.imprints.all()), "placed")
            if "outline_mm" in one:
                return {"include": True, "how": how, **numbers_of(one["outline_mm"])}
            return {
                "include": True,
                "how": how,
                "x_mm": one["centre_mm"][0],
                "y_mm": one["centre_mm"][1],
                "length_mm": one["length_mm"],
                "width_mm": one["width_mm"],
                "angle_deg": one.get("angle_deg", 0.0),
                "outline": "",
            }
    return None
