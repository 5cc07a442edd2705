from dataclasses import replace

import pytest

from offload.core.foam.stack import Layer
from offload.core.plan.alternatives import LEAST_COUNT, alternatives_for, walls_around
from offload.core.plan.checks import Check
from offload.core.plan.clearance import possible_cuts
from offload.core.plan.compute import compute
from offload.core.plan.openings import Wall
from offload.core.plan.policy import Policy
from offload.core.plan.report import PressureModel
from tests.offload.core.pressure_plans import plan, spec, trials

MODEL = PressureModel(cell_mm=5.0, ranges=False)


@pytest.fixture(scope="module")
def found():
    return MODEL(plan())


def test_there_are_at_least_24_different_alternatives(found):
    keys = {(a.cut_layers, a.margin, a.distal_margin, a.bevel) for a in found.alternatives}
    assert len(keys) == len(found.alternatives) >= LEAST_COUNT == 24
    assert {a.cut_layers for a in found.alternatives} == {("middle",), ("base",), ("middle", "base")}


def test_they_come_best_first(found):
    order = [(not a.passed, a.patch_mean_after, a.rim_peak_after, a.area) for a in found.alternatives]
    assert order == sorted(order)


def test_the_plans_own_cut_is_among_them_with_its_own_figures(found):
    own = [
        a
        for a in found.alternatives
        if (a.cut_layers, a.margin, a.distal_margin, a.bevel) == (("middle",), 5, 10, 45)
    ]
    assert len(own) == 1
    assert own[0].peak_after == pytest.approx(found.report.lesions[0].peak_after)
    assert own[0].area == pytest.approx(plan().openings[0].area)


def test_an_alternative_taken_as_plan_gives_what_was_promised(found):
    best = found.alternatives[0]
    taken = MODEL(
        compute(
            replace(
                spec(cut="+".join(best.cut_layers)),
                margin=best.margin,
                distal_margin=best.distal_margin,
                bevel=best.bevel,
            )
        )
    )
    # Alternatives are only compared, so they are solved less closely: 1 kPa.
    assert taken.report.lesions[0].peak_after == pytest.approx(best.peak_after, abs=1.0)
    assert taken.report.rim_peak_after == pytest.approx(best.rim_peak_after, abs=1.0)


def test_a_flagged_check_of_the_plan_flags_every_alternative():
    stale = Check("weight_age", "warn", False, 60, 30, "Weight is 60 days old.")
    tried = trials(plan(20))
    assert any(a.passed for a in alternatives_for(tried))
    assert not any(a.passed for a in alternatives_for(tried, (stale,)))


def test_other_cuts_are_judged_by_the_policy_of_their_plan():
    strict = compute(spec(20), policy=Policy(largest_zone_share=0.1))
    assert any(a.passed for a in MODEL(plan(20)).alternatives)
    assert not any(a.passed for a in MODEL(strict).alternatives)


def test_a_difference_between_policy_and_advice_is_said():
    findings = MODEL(plan(130))
    assert findings.clearance_advice.cut_layers == ("middle", "base")
    assert any("mechanics would cut middle and base" in reason for reason in findings.reasons)


def test_a_stack_without_a_middle_still_has_24():
    stack = (Layer("cover", "soft", 3.0), Layer("base", "firm", 8.0))
    found = MODEL(plan(stack=stack))
    assert len(found.alternatives) >= 24
    assert {a.cut_layers for a in found.alternatives} == {("base",)}


def test_impossible_walls_are_replaced_by_the_next():
    # Measured on the opening with shallow bevels and hardly any margin, many floors vanish.
    made = plan(cut="base", size=8.0, margin=4.0, distal_margin=5.0, margin_face="opening", bevel=60.0)
    found = MODEL(made)
    assert len(found.alternatives) >= 24


def test_walls_start_with_the_given_one_and_stay_within_bounds():
    walls = list(walls_around(Wall(0.0, 30.0, 90.0)))
    assert walls[0] == Wall(0.0, 30.0, 90.0)
    assert len(set(walls)) == len(walls) >= 24
    assert all(0 <= wall.margin <= wall.distal_margin <= 30 and 20 <= wall.bevel <= 90 for wall in walls)


def test_the_cover_is_never_among_the_cuts():
    assert all("cover" not in cut for cut in possible_cuts(spec().stack))
