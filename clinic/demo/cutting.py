"""A signed plan of an invented person, cut, fitted, checked and measured."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

from clinic.models import LimbPlan, User
from clinic.relief.writes import plan_life
from offload.plans.steps import plan_depth

__all__ = ["cut"]


def cut(drafted: LimbPlan, day: date, staff: User, podiatrist: User, measured: tuple[float, ...]) -> None:
    """Cut to depth, fitted, checked for contact: nothing is sealed over a plan before that."""
    drafted.plan.refresh_from_db()
    plan = drafted.plan
    plan_life.plan_cut(
        by=staff,
        limb_plan=drafted,
        code=plan.code,
        side=plan.side,
        bar_mm=Decimal("100.0"),
        depth_mm=plan_depth(plan),
        done_on=day,
    )
    plan_life.plan_fit(by=staff, limb_plan=drafted, code=plan.code, side=plan.side, done_on=day)
    plan_life.plan_check_contact(
        by=podiatrist,
        limb_plan=drafted,
        found="clean",
        method="marker",
        dummy_marked=True,
        done_on=day,
    )
    if measured:
        without, with_cut = measured
        plan_life.plan_measure(
            by=podiatrist,
            limb_plan=drafted,
            label=plan.spec["lesions"][0]["label"],
            measured_on=day,
            without_kpa=without,
            with_kpa=with_cut,
            target_kind="peak",
            target=100.0,  # invented; none is published for an open ulcer
        )
