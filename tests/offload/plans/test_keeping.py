"""Plans are kept under a code, signed once, frozen, and replaced only by signing."""

from __future__ import annotations

import json

import pytest
from django.utils import timezone

from offload.core.errors import SpecError, where
from offload.core.foam.stack import PACKAGED_FOAMS
from offload.core.plan.checks import Check
from offload.core.plan.policy import Policy
from offload.core.plan.specfile import spec_from
from offload.core.sheets.sheet_code import is_sheet_code
from offload.models import PlanState, ReliefPlan
from offload.plans import keeping as plans

pytestmark = pytest.mark.django_db


def spec(**changes):
    return {
        "side": "right",
        "foot_length_mm": 260,
        "body_weight_kg": 82,
        "lesions": [{"label": "A", "centre_mm": [0, 180], "length_mm": 20, "width_mm": 20}],
        **changes,
    }


def draft(changes=None, **more):
    asked = spec_from(spec(**(changes or {})), (*PACKAGED_FOAMS, "own soft", "own firm"))
    return plans.plan_create(spec=asked, made_by="P. Odiatrist", at=timezone.now(), **more)


def signed(plan, **more):
    told = {"expected_version": plan.version, "shut_reason": "Measured next in the shoe.", **more}
    return plans.sign(plan=plan, signed_by="P. Odiatrist", at=timezone.now(), **told)


def test_a_draft_has_a_checked_code_and_the_computed_numbers():
    plan = draft()
    assert is_sheet_code(plan.code)
    assert (plan.state, plan.number, plan.side, plan.version) == (PlanState.DRAFT, 1, "right", 1)
    assert plan.result["cut_layers"] == ["middle"]
    # pi 15² + 5·30 = 856.9 mm²: floor of a 10 mm circle with 5 mm all round and 10 mm towards the toes.
    assert plan.result["openings"][0]["floor_area_mm2"] == pytest.approx(856.9, rel=5e-3)


def test_two_drafts_of_one_specification_have_two_codes_and_one_digest():
    one, other = draft(), draft()
    assert one.code != other.code
    assert one.sha256 == other.sha256
    assert draft({"margin_mm": 6}).sha256 != one.sha256


def test_a_code_that_is_taken_is_not_given_again(monkeypatch):
    first = draft()
    seeds = iter([b"again", b"again", b"another"])
    monkeypatch.setattr(plans.secrets, "token_bytes", lambda n: next(seeds))
    second = draft()
    assert ReliefPlan.objects.filter(code=second.code).count() == 1
    third = draft()
    assert len({first.code, second.code, third.code}) == 3


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"body_weight_kg": -1}, "body_weight_kg"),
        ({"bevel_deg": 95}, "bevel_deg"),
        (
            {"lesions": [{"label": "A", "centre_mm": [0, 180], "length_mm": 5, "width_mm": 9}]},
            "lesions[0].width_mm",
        ),
        (
            {"lesions": [{"label": "A", "centre_mm": [90, 180], "length_mm": 9, "width_mm": 9}]},
            "lesions[0].centre_mm",
        ),
        ({"margin_mm": 1, "margin_face": "opening", "bevel_deg": 20}, "margin_mm"),
        ({"cut": "base", "unknown": 1}, "unknown"),
    ],
)
def test_a_bad_specification_names_its_field_and_writes_nothing(changes, field):
    with pytest.raises(SpecError) as invalid:
        draft(changes)
    assert [where(fault.path) for fault in invalid.value.faults] == [field]
    assert "limit" in invalid.value.faults[0].words
    assert not ReliefPlan.objects.exists()


def test_the_clinics_own_foam_may_stand_in_the_stack():
    stack = [
        {"role": "cover", "foam": "own soft", "thickness_mm": 4},
        {"role": "base", "foam": "own firm", "thickness_mm": 10},
    ]
    assert draft({"stack": stack}).result["cut_layers"] == ["base"]


def test_the_house_threshold_decides_the_layer():
    assert draft(policy=Policy(weight_threshold=80.0)).result["cut_layers"] == ["base"]
    assert draft(policy=Policy(weight_threshold=82.0)).result["cut_layers"] == ["base"]


def test_signing_freezes_the_plan_and_a_second_signature_is_refused():
    plan = draft()
    done = signed(plan)
    assert (done.state, done.signed_by, done.version) == (PlanState.SIGNED, "P. Odiatrist", 2)
    with pytest.raises(plans.PlanRefused, match="signed already"):
        signed(done)


def test_a_stale_version_is_not_signed():
    plan = draft()
    ReliefPlan.objects.filter(pk=plan.pk).update(version=2)
    with pytest.raises(plans.PlanChanged, match="Someone else"):
        signed(plan)
    assert ReliefPlan.objects.get(pk=plan.pk).state == PlanState.DRAFT


def test_a_departure_needs_its_written_reason_before_signing():
    plan = draft({"cut": "base"})
    assert plan.result["departures"] == ["The cut is in the base; the policy would cut the middle."]
    with pytest.raises(plans.PlanRefused) as refused:
        signed(plan, departure_reason="  ")
    assert refused.value.field == "departure_reason"
    assert signed(plan, departure_reason="Middle already worn.").departure_reason == "Middle already worn."


def test_asking_for_the_layer_the_policy_cuts_is_no_departure():
    assert draft({"cut": "middle"}).result["departures"] == []


def test_a_flagged_check_of_error_weight_blocks_signing_and_a_warning_does_not():
    warn = Check("weight_age", "warn", False, 40, 30, "Body weight is old.")
    error = Check("own", "error", False, None, None, "This must be mended first.")
    with pytest.raises(plans.PlanRefused, match="This must be mended first"):
        signed(draft(remarks=plans.Remarks(checks=(error,))))
    assert signed(draft(remarks=plans.Remarks(checks=(warn,)))).state == PlanState.SIGNED


def test_numbers_that_were_altered_are_not_signed():
    plan = draft()
    plan.spec["body_weight_kg"] = 95
    plan.save()
    with pytest.raises(plans.PlanRefused, match="digest"):
        signed(plan)


def test_signing_a_new_version_supersedes_the_old_one():
    old = signed(draft())
    new = draft({"margin_mm": 6}, replaces=old)
    assert new.number == 2
    assert ReliefPlan.objects.get(pk=old.pk).state == PlanState.SIGNED
    signed(new)
    assert ReliefPlan.objects.get(pk=old.pk).state == PlanState.SUPERSEDED


def test_of_two_drafts_for_one_plan_only_the_first_signed_replaces_it():
    old = signed(draft())
    first, second = draft(replaces=old), draft({"margin_mm": 6}, replaces=old)
    signed(first)
    with pytest.raises(plans.PlanRefused, match="replaced already"):
        signed(second)
    assert ReliefPlan.objects.get(pk=second.pk).state == PlanState.DRAFT


def test_a_draft_is_never_replaced():
    with pytest.raises(plans.PlanRefused, match="is a draft"):
        draft(replaces=draft())


def test_the_sheets_say_what_state_the_plan_is_in():
    def words(plan):
        return " ".join(text for page in plans.plan_drawings(plan, "A4") for text in page.texts())

    old = draft()
    assert "NOT SIGNED – do not cut" in words(old)
    old = signed(old)
    assert "NOT SIGNED" not in words(old)
    new = draft({"margin_mm": 6}, replaces=old)
    assert "REPLACED" not in words(old)
    signed(new)
    assert "REPLACED by v2" in words(ReliefPlan.objects.get(pk=old.pk))
    assert old.code in words(old)


def test_an_unknown_paper_is_refused():
    with pytest.raises(plans.PlanRefused, match="A4, A3, Letter"):
        plans.plan_drawings(draft(), "A5")


def test_a_stored_plan_is_drawn_with_its_own_checks_and_policy():
    remark = plans.Remarks(
        checks=(Check("own", "note", False, None, None, "Own remark."),), reasons=("Own reason.",)
    )
    plan = draft(policy=Policy(weight_threshold=80.0), remarks=remark)
    again = plans.recomputed(ReliefPlan.objects.get(pk=plan.pk))
    assert again.cut_layers == ("base",)
    assert "Own remark." in [check.message for check in again.checks]
    assert "Own reason." in again.reasons


def test_a_plan_that_this_program_would_cut_differently_is_not_drawn():
    plan = draft()
    layer = plan.result["openings"][0]["layers"][0]
    layer["top_mm"] = [[x + 0.5, y] for x, y in layer["top_mm"]]
    plan.save()
    with pytest.raises(plans.PlanRefused, match="cuts it differently"):
        plans.recomputed(plan)


def test_the_digest_survives_the_database():
    plan = draft()
    assert plans.is_intact(ReliefPlan.objects.get(pk=plan.pk))
    assert json.loads(json.dumps(plan.result)) == plan.result


def test_the_same_draft_sent_twice_is_kept_once():
    first = draft()
    assert draft(unless=first) == first
    assert draft({"margin_mm": 6}, unless=first) != first
    assert draft(unless=signed(first)) != first


@pytest.mark.full_pressure
def test_a_kept_plan_holds_pressures_alternatives_and_advice():
    result = draft(
        {"lesions": [{"label": "A", "centre_mm": [0, 185], "length_mm": 14, "width_mm": 10}]}
    ).result
    lesion = result["pressure"]["lesions"][0]
    low, high = lesion["peak_after_range_kpa"]
    assert low <= lesion["peak_after_kpa"] <= high < lesion["peak_before_kpa"]
    assert result["pressure"]["solved_load_n"] == pytest.approx(result["pressure"]["load_n"], rel=1e-6)
    assert len(result["alternatives"]) >= 24
    assert result["clearance_advice"]["cut_layers"] is not None
    assert {"layer_strain", "clearance", "bottoming_out", "peak_elsewhere"} <= {
        c["id"] for c in result["checks"]
    }
    assert [point["kind"] for point in result["watch_points"]][0] == "rim"
    assert set(result["foams"]) == {"soft", "medium", "firm"}


@pytest.mark.full_pressure
def test_the_picture_of_a_kept_plan_is_solved_with_the_foams_it_was_kept_with():
    plan = draft()
    drawn = plans.redrawn(plan)
    peak = max(float(field.after_kpa.max()) for field in drawn.fields)
    assert peak == pytest.approx(plan.result["pressure"]["elsewhere_peak_after_kpa"], abs=0.5)
    assert drawn.remark == ""
    plan.result["foams"]["soft"]["modulus_kpa"] *= 3
    other = plans.redrawn(plan)
    assert other.fields
    assert "solved anew" in other.remark


def test_a_foam_nobody_measured_leaves_the_geometry_and_says_so():
    stack = [
        {"role": "cover", "foam": "own soft", "thickness_mm": 4},
        {"role": "base", "foam": "firm", "thickness_mm": 10},
    ]
    result = draft({"stack": stack}).result
    assert result["pressure"] is None
    missing = [check for check in result["checks"] if check["id"] == "pressure_estimated"]
    assert [check["passed"] for check in missing] == [False]
    assert "own soft" in missing[0]["message"]


def test_a_plan_kept_before_pressures_were_solved_still_opens():
    plan = draft()
    for name in ("foams", "watch_points"):
        del plan.result[name]
    plan.result |= {"pressure": None, "alternatives": []}
    assert plans.redrawn(plan).fields == ()
    assert plans.redrawn(plan).plan.cut_layers == ("middle",)


def test_an_estimate_ranks_plans_and_stops_no_signature():
    plan = draft({"body_weight_kg": 300})
    strain = next(check for check in plan.result["checks"] if check["id"] == "layer_strain")
    assert (strain["severity"], strain["passed"]) == ("error", False)
    assert plans.unmet(plan) == []
