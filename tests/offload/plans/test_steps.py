"""A signed plan is cut, fitted and checked in this order; code, side, bar and depth stop what is wrong."""

from __future__ import annotations

from decimal import Decimal

import pytest
from django.db import IntegrityError
from django.utils import timezone

from offload.core.plan.stages import refusal
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


def contact(plan, touches=False, **changes):
    told = {
        "found": "touched" if touches else "clean",
        "method": "marker",
        "dummy_marked": True,
        "where": ["A:base"] if touches else [],
        "done_on": DAY(),
        **changes,
    }
    return steps.plan_contact(plan=plan, done_by="N. Urse", at=timezone.now(), **told)


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


def measured(plan, **changes):
    told = {
        "label": "A",
        "measured_on": DAY(),
        "without_kpa": 280,
        "with_kpa": 150,
        "from_map": False,
        "target_kind": "none",
        "target": None,
        **changes,
    }
    return measurements.plan_measured(plan=plan, note="", made_by="P", at=timezone.now(), **told)


def test_a_measured_pair_keeps_the_prediction_of_its_day():
    plan = signed(draft())
    row = measured(plan)
    lesion = plan.result["pressure"]["lesions"][0]
    assert row.predicted_after_kpa == lesion["patch_mean_after_kpa"]
    assert row.difference == 150 - lesion["patch_mean_after_kpa"]
    assert row.basis == "patch"
    with pytest.raises(PlanRefused, match="no prediction"):
        measured(plan, label="Z")


def test_a_pair_of_a_plan_that_holds_no_patch_says_that_it_is_of_one_cell():
    plan = signed(draft())
    for name in ("patch_mean_before_kpa", "patch_mean_after_kpa"):
        plan.result["pressure"]["lesions"][0][name] = None
    row = measured(plan)
    assert (row.basis, row.predicted_after_kpa) == (
        "cell",
        plan.result["pressure"]["lesions"][0]["peak_after_kpa"],
    )


@pytest.mark.parametrize(
    ("kind", "value", "met"),
    [
        ("peak", 150.0, True),
        ("peak", 149.9, False),
        ("less", 46.0, True),
        ("less", 47.0, False),
        ("none", None, None),
    ],
)
def test_a_target_is_met_or_not_by_what_was_measured(kind, value, met):
    assert measured(signed(draft()), target_kind=kind, target=value).met is met


@pytest.mark.parametrize(
    ("kind", "value", "field"),
    [
        ("", None, "target_kind"),
        ("peak", None, "target"),
        ("peak", 0.0, "target"),
        ("less", 100.0, "target"),
        ("none", 200.0, "target"),
    ],
)
def test_a_target_that_says_nothing_is_refused_at_its_field(kind, value, field):
    with pytest.raises(PlanRefused) as refused:
        measured(signed(draft()), target_kind=kind, target=value)
    assert refused.value.field == field


def test_a_clean_check_counts_only_after_a_dummy_that_left_its_mark():
    plan = signed(draft())
    cut(plan)
    fitted(plan)
    for dummy, words in ((None, "was not tried"), (False, "left no mark")):
        with pytest.raises(PlanRefused, match=words) as refused:
            contact(plan, dummy_marked=dummy)
        assert refused.value.field == "dummy_marked"
    assert stage_of(plan) == Stage.FITTED
    contact(plan, touches=True, dummy_marked=None)  # a mark found is a mark, whatever was tried before
    assert stage_of(plan) == Stage.TOUCHES


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"found": "touched"}, "where"),
        ({"found": "clean", "where": ["A:base"]}, "where"),
        ({"found": "touched", "where": ["Z:base"]}, "where"),
        ({"found": "touched", "where": ["A:sky"]}, "where"),
        ({"method": "ink"}, "method"),
        ({"found": "yes"}, "found"),
    ],
)
def test_a_result_that_contradicts_itself_is_refused_at_its_field(changes, field):
    plan = signed(draft())
    cut(plan)
    fitted(plan)
    with pytest.raises(PlanRefused) as refused:
        contact(plan, **changes)
    assert refused.value.field == field
    assert not plan.steps.filter(kind="contact").exists()


def test_a_check_that_cannot_be_read_seals_nothing_and_lifts_no_contact():
    plan = signed(draft())
    cut(plan)
    fitted(plan)
    contact(plan, found="clean")
    contact(plan, found="unreadable", dummy_marked=False)
    assert stage_of(plan) == Stage.UNREADABLE
    contact(plan, touches=True)
    contact(plan, found="unreadable", dummy_marked=None)
    assert stage_of(plan) == Stage.TOUCHES
    with pytest.raises(PlanRefused, match="Say in at least"):  # nor does it hide that one was found
        contact(plan, found="clean")
    assert plan_refuses_seal(plan)


def plan_refuses_seal(plan):
    return "failed its contact check" in refusal(stage_of(plan), "seal", code=plan.code)


def test_the_store_itself_keeps_no_clean_check_without_its_dummy():
    plan = signed(draft())
    row = {"plan": plan, "kind": "contact", "done_on": DAY(), "recorded_at": timezone.now(), "passed": True}
    with pytest.raises(IntegrityError):
        PlanStep.objects.create(**row, found="clean", method="film", dummy_marked=False)
