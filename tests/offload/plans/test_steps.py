"""A signed plan is cut, fitted and checked in this order; code, side, bar and depth stop what is wrong."""

from __future__ import annotations

from decimal import Decimal

import pytest
from django.utils import timezone

from offload.models import PlanState, PlanStep
from offload.plans import measurements as measurements
from offload.plans import steps as steps
from offload.plans.keeping import PlanRefused
from offload.plans.steps import Stage, stage_of
from tests.offload.plans.test_keeping import draft, signed

pytestmark = pytest.mark.django_db
DAY = timezone.localdate


def cut(plan, **changes):
    told = {
        "code": plan.code,
        "side": plan.side,
        "bar": Decimal("100.0"),
        "depth": Decimal("6.0"),
        "done_on": DAY(),
        **changes,
    }
    return steps.plan_cut(plan=plan, done_by="N. Urse", at=timezone.now(), **told)


def fitted(plan, **changes):
    told = {"code": plan.code, "side": plan.side, "done_on": DAY(), **changes}
    return steps.plan_fitted(plan=plan, done_by="N. Urse", at=timezone.now(), **told)


def contact(plan, touches):
    return steps.plan_contact(plan=plan, touches=touches, done_on=DAY(), done_by="N. Urse", at=timezone.now())


def test_a_plan_goes_from_signed_to_checked():
    plan = signed(draft())
    assert stage_of(plan) == Stage.SIGNED
    assert cut(plan).passed
    assert stage_of(plan) == Stage.CUT
    fitted(plan)
    assert stage_of(plan) == Stage.FITTED
    assert contact(plan, touches=False).passed
    assert stage_of(plan) == Stage.CHECKED


def test_a_code_typed_small_with_spaces_is_the_same():
    plan = signed(draft())
    assert cut(plan, code=f" {plan.code.lower()[:3]} {plan.code.lower()[3:]} ").passed


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"code": "AAAAAA"}, "code"),
        ({"code": ""}, "code"),
        ({"side": "left"}, "side"),
        ({"bar": Decimal("99.4")}, "bar_mm"),
        ({"bar": Decimal("100.6")}, "bar_mm"),
        ({"depth": Decimal(0)}, "depth_mm"),
        ({"depth": Decimal("16.1")}, "depth_mm"),
    ],
)
def test_a_wrong_sheet_a_wrong_scale_or_no_depth_stops_the_cut(changes, field):
    plan = signed(draft())
    with pytest.raises(PlanRefused) as refused:
        cut(plan, **changes)
    assert refused.value.field == field
    assert not PlanStep.objects.exists()


@pytest.mark.parametrize(("bar", "depth", "passed"), [("99.5", "5.0", True), ("100.5", "4.9", False)])
def test_more_than_one_mm_too_shallow_is_kept_as_failed(bar, depth, passed):
    plan = signed(draft())
    step = cut(plan, bar=Decimal(bar), depth=Decimal(depth))
    assert (step.passed, step.depth_planned_mm) == (passed, Decimal(6))
    assert stage_of(plan) == (Stage.CUT if passed else Stage.SIGNED)


def test_a_failed_cut_is_not_fitted_and_a_second_try_counts():
    plan = signed(draft())
    cut(plan, depth=Decimal("3.0"))
    with pytest.raises(PlanRefused, match="not cut yet"):
        fitted(plan)
    cut(plan)
    fitted(plan)
    assert stage_of(plan) == Stage.FITTED


def test_the_order_cannot_be_jumped():
    plan = draft()
    with pytest.raises(PlanRefused, match="not signed"):
        cut(plan)
    plan = signed(plan)
    with pytest.raises(PlanRefused, match="not fitted yet"):
        contact(plan, touches=False)
    with pytest.raises(PlanRefused, match="the other|STOP|not cut yet"):
        fitted(plan)


def test_at_fitting_code_and_side_are_asked_again():
    plan = signed(draft())
    cut(plan)
    with pytest.raises(PlanRefused, match="STOP. The side"):
        fitted(plan, side="left")
    with pytest.raises(PlanRefused, match="STOP. The code"):
        fitted(plan, code="")


def test_contact_is_a_stage_of_its_own_and_a_recut_begins_anew():
    plan = signed(draft())
    cut(plan)
    fitted(plan)
    assert not contact(plan, touches=True).passed
    assert stage_of(plan) == Stage.TOUCHES
    cut(plan)
    assert stage_of(plan) == Stage.CUT


def test_a_replaced_plan_is_not_cut():
    old = signed(draft())
    signed(draft({"margin_mm": 6}, replaces=old))
    old.refresh_from_db()
    assert (old.state, stage_of(old)) == (PlanState.SUPERSEDED, Stage.REPLACED)
    with pytest.raises(PlanRefused, match="was replaced"):
        cut(old)


def test_a_measured_pair_keeps_the_prediction_of_its_day():
    plan = signed(draft())
    row = measurements.plan_measured(
        plan=plan,
        label="A",
        measured_on=DAY(),
        without_kpa=280,
        with_kpa=150,
        from_map=False,
        note="",
        made_by="P",
        at=timezone.now(),
    )
    lesion = plan.result["pressure"]["lesions"][0]
    assert row.predicted_after_kpa == lesion["peak_after_kpa"]
    assert row.difference == 150 - lesion["peak_after_kpa"]
    with pytest.raises(PlanRefused, match="no prediction"):
        measurements.plan_measured(
            plan=plan,
            label="Z",
            measured_on=DAY(),
            without_kpa=280,
            with_kpa=150,
            from_map=False,
            note="",
            made_by="P",
            at=timezone.now(),
        )
