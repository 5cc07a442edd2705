"""A kept plan is drawn again as it was kept; what stops its signature and what its pictures lack is said."""

from __future__ import annotations

from dataclasses import fields, replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from offload.core.plan import compute as core_plan
from offload.core.plan.checks import Check, Kind
from offload.core.plan.policy import DEFAULT_POLICY, Policy
from offload.core.plan.specfile import spec_from
from offload.models import ReliefPlan
from offload.pictures.plan import plan_picture
from offload.plans import keeping as plans
from offload.plans.estimates import Effort, Estimate, departures_of, plan_estimate, pressed
from offload.plans.stored import check_json, check_of
from tests.offload.plans.test_keeping import draft, spec

pytestmark = pytest.mark.django_db


# --- a kept plan is drawn under the policy it was kept with
# ------------------------------------------------------
#: Two lesions near each other and the edge, one with a corner, at a weight between two thresholds: the cut
#: follows every rule of the policy that shapes it.
POLICY_SENSITIVE = {
    "body_weight_kg": 95,
    "lesions": [
        {"label": "A", "outline_mm": [[0, 180], [20, 180], [20, 184], [4, 184], [4, 196], [0, 196]]},
        {"label": "B", "centre_mm": [-27, 172], "length_mm": 8, "width_mm": 6},
    ],
    "margin_mm": 2,
    "distal_margin_mm": 2,
}
OTHER_POLICY = {
    "weight_threshold": 110.0,
    "least_web": 1.0,
    "edge_strip": 1.0,
    "blade_radius": 9.0,
    "least_cover": 4.0,
    "least_floor": 8.0,
    "least_wall": 6.0,
    "largest_zone_share": 1.0,
    "weight_age": 7,
}
SHAPES_THE_CUT = {"weight_threshold", "least_web", "edge_strip", "blade_radius"}


@pytest.fixture
def one_effort(monkeypatch):
    """What is kept and what is drawn are solved on the same cells, so that their figures can be held
    together.
    """
    effort = Effort(5.0, ranges=False, others=False, watch=False)
    monkeypatch.setattr(plans, "FULL", effort)
    monkeypatch.setattr(plans, "DRAWN", effort)


@pytest.mark.parametrize("rule", [rule.name for rule in fields(Policy)])
def test_a_kept_plan_is_redrawn_under_every_rule_of_the_policy_it_was_kept_with(
    rule, one_effort, monkeypatch
):
    policy = replace(DEFAULT_POLICY, **{rule: OTHER_POLICY[rule]})
    assert policy != DEFAULT_POLICY
    solved = []
    monkeypatch.setattr(
        plans, "pressed", lambda *given, **more: solved.append(pressed(*given, **more)) or solved[-1]
    )
    kept = ReliefPlan.objects.get(pk=draft(POLICY_SENSITIVE, policy=policy).pk)
    drawn = plans.redrawn(kept)
    assert drawn.plan.policy == policy
    printed = core_plan.as_json(drawn.plan)
    assert [printed["openings"], printed["cut_layers"]] == [
        kept.result["openings"],
        kept.result["cut_layers"],
    ]
    assert (drawn.remark, bool(drawn.fields)) == ("", True)
    assert core_plan.pressure_json(solved[0].plan.pressure) == kept.result["pressure"]
    plain = draft(POLICY_SENSITIVE).result
    differs = [plain["openings"], plain["cut_layers"]] != [printed["openings"], printed["cut_layers"]]
    assert differs is (rule in SHAPES_THE_CUT)


def test_a_picture_that_cannot_be_solved_says_why(monkeypatch, one_effort):
    plan = draft()
    laws = plan.result.pop("foams")
    assert "without the laws of its foams" in plans.redrawn(plan).remark
    plan.result["foams"] = laws | {"soft": laws["soft"] | {"modulus_kpa": -1.0}}
    broken = plans.redrawn(plan)
    assert broken.fields == ()
    assert broken.remark.startswith("The picture is not drawn: ")
    assert "soft" in broken.remark
    plan.result["foams"] = laws
    monkeypatch.setattr(
        plans, "pressed", lambda plan, **_: Estimate(plan, missing="It does not come to rest.")
    )
    still = plans.redrawn(plan)
    assert still.fields == ()
    assert "It does not come to rest." in still.remark


def test_a_kept_plan_that_cannot_be_cut_any_more_is_refused_with_why():
    plan = draft()
    plan.spec["body_weight_kg"] = 900
    for ask in (plans.recomputed, plans.redrawn, plans.cutting_sheet):
        with pytest.raises(plans.PlanRefused, match=f"Plan {plan.code} cannot be cut.*from 20 to 300 kg"):
            ask(plan)


def test_a_plan_is_laid_on_its_insole_and_its_policy_decided_once(monkeypatch):
    asked = []
    for name in ("faults_of_lesions", "decide"):
        real = getattr(core_plan, name)
        monkeypatch.setattr(
            core_plan, name, lambda *given, name=name, real=real: asked.append(name) or real(*given)
        )
    estimate = plan_estimate(spec_from(spec()), effort=Effort(10.0, ranges=False, others=False))
    departures_of(estimate.plan)
    plan_picture(estimate.plan, fields=estimate.fields)
    assert sorted(asked) == ["decide", "faults_of_lesions"]


# --- what stops a signature is said by the check
# -----------------------------------------------------------------
@pytest.mark.parametrize("weight", [82, 300])
def test_no_name_of_a_check_decides_whether_it_stops_a_signature(weight):
    own = tuple(
        Check(f"own {kind.value} {severity} {passed}", severity, passed, None, None, "Own.", kind)
        for kind in Kind
        for severity in ("error", "warn", "note")
        for passed in (True, False)
    )
    plan = draft({"body_weight_kg": weight}, remarks=plans.Remarks(checks=own))
    before, shown = plans.unmet(plan), plan_picture(plans.recomputed(plan)).checks
    assert before == ["Own."] * 2  # the flagged errors of record and geometry, never that of an estimate
    for place, check in enumerate(plan.result["checks"]):
        check["id"] = f"renamed {place}"
    assert plans.unmet(plan) == before
    assert [replace(line, id="") for line in plan_picture(plans.recomputed(plan)).checks] == [
        replace(line, id="") for line in shown
    ]


@given(
    st.builds(
        Check,
        st.text(),
        st.sampled_from(["error", "warn", "note"]),
        st.booleans(),
        st.none() | st.floats(0, 9),
        st.none(),
        st.text(),
        st.sampled_from(Kind),
    )
)
def test_a_kept_check_stops_what_it_stopped_when_it_was_made(check):
    printed = {
        name: getattr(check, name) for name in ("id", "severity", "passed", "value", "limit", "message")
    }
    assert check_of(check_json(printed, check)).stops is check.stops
