"""Peaks measured in the shoe, kept beside what their plan predicted."""

from __future__ import annotations

from datetime import date, datetime

from django.db import transaction

from offload.core.plan.target import NO_TARGET, TARGETS
from offload.core.pressure.measured import HIGHEST_KPA
from offload.models import PlanMeasurement, ReliefPlan
from offload.plans.refused import PlanRefused
from offload.plans.stage import plan_allowed

__all__ = ["plan_measured"]


@transaction.atomic
def plan_measured(
    *,
    plan: ReliefPlan,
    label: str,
    measured_on: date,
    without_kpa: float,
    with_kpa: float,
    from_map: bool,
    target_kind: str,
    target: float | None,
    note: str,
    made_by: str,
    at: datetime,
) -> PlanMeasurement:
    """Keep a measured pair with copies of the prediction, which a later version of the program cannot
    change.
    """
    plan_allowed(plan, "measure")
    pressure = plan.result.get("pressure")
    predicted = next((one for one in (pressure or {"lesions": []})["lesions"] if one["label"] == label), None)
    if predicted is None:
        raise PlanRefused(f"Ulcer {label}: the plan holds no prediction for it.", field="label")
    if not without_kpa > 0 or with_kpa < 0:
        raise PlanRefused(
            f"Peaks: {without_kpa:g} and {with_kpa:g} kPa; the limit is above 0 without and 0 or more with "
            "the cut.",
            field="without_kpa",
        )
    _check_target(target_kind, target)
    before, after = predicted.get("patch_mean_before_kpa"), predicted.get("patch_mean_after_kpa")
    patch = before is not None and after is not None
    return PlanMeasurement.objects.create(
        plan=plan,
        label=label,
        measured_on=measured_on,
        from_map=from_map,
        without_kpa=without_kpa,
        with_kpa=with_kpa,
        # An insole sensor averages over about as much as the patch, and reads no single cell.
        predicted_before_kpa=before if patch else predicted["peak_before_kpa"],
        predicted_after_kpa=after if patch else predicted["peak_after_kpa"],
        basis="patch" if patch else "cell",
        target_kind=target_kind,
        target=target,
        note=note.strip(),
        recorded_at=at,
        made_by=made_by,
    )


def _check_target(kind: str, value: float | None) -> None:
    if kind not in TARGETS:
        raise PlanRefused(
            f"Target: {kind or 'nothing'} given; choose one, or that none is set.", field="target_kind"
        )
    if kind == NO_TARGET:
        if value is not None:
            raise PlanRefused(f"Target: {value:g} given, but no target is chosen.", field="target")
        return
    most, unit = (99.0, "%") if kind == "less" else (HIGHEST_KPA, "kPa")
    if value is None or not 0 < value <= most:
        given = "nothing" if value is None else f"{value:g} {unit}"
        raise PlanRefused(
            f"Target: {given} given; the limit is above 0 and up to {most:g} {unit}.", field="target"
        )
