"""Peaks measured in the shoe, kept beside what their plan predicted."""

from __future__ import annotations

from datetime import date, datetime

from django.db import transaction

from offload.models import PlanMeasurement, PlanState, ReliefPlan
from offload.plans.keeping import PlanRefused

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
    note: str,
    made_by: str,
    at: datetime,
) -> PlanMeasurement:
    """Keep a measured pair with copies of the prediction, which a later version of the program cannot
    change.
    """
    if plan.state == PlanState.DRAFT:
        raise PlanRefused(f"Plan {plan.code} is not signed, so nothing was cut from it to be measured.")
    pressure = plan.result.get("pressure")
    predicted = next((one for one in (pressure or {"lesions": []})["lesions"] if one["label"] == label), None)
    if predicted is None:
        raise PlanRefused(f"Lesion {label}: the plan holds no prediction for it.", field="label")
    if not without_kpa > 0 or with_kpa < 0:
        raise PlanRefused(
            f"Peaks: {without_kpa:g} and {with_kpa:g} kPa; the limit is above 0 without and 0 or more with "
            "the cut.",
            field="without_kpa",
        )
    return PlanMeasurement.objects.create(
        plan=plan,
        label=label,
        measured_on=measured_on,
        from_map=from_map,
        without_kpa=without_kpa,
        with_kpa=with_kpa,
        predicted_before_kpa=predicted["peak_before_kpa"],
        predicted_after_kpa=predicted["peak_after_kpa"],
        note=note.strip(),
        recorded_at=at,
        made_by=made_by,
    )
