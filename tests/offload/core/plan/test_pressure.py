from dataclasses import replace

import numpy as np
import pytest

from offload.core.foam.law import packaged_foams
from offload.core.foam.stack import Layer
from offload.core.plan.compute import compute
from offload.core.plan.report import PressureModel
from offload.core.pressure.grid import PressureMap
from offload.core.shapes.lesion import LesionSpec
from offload.core.shapes.outline import Outline
from tests.offload.core.pressure_plans import HEADS_2_3, force_of, plan, spec

MODEL = PressureModel(others=False)


def lesion_of(weight: float, cut: str, model: PressureModel = MODEL, **more):
    return model(plan(weight, cut, **more)).report.lesions[0]


def test_the_report_keeps_the_load_and_orders_its_figures():
    found = MODEL(plan()).report
    assert found.baseline == "reference"
    assert found.load == pytest.approx(1.1 * 80 * 9.80665)
    assert found.solved_load == pytest.approx(found.load, rel=1e-6)
    assert found.rim_peak_before <= found.elsewhere_peak_before
    assert found.rim_peak_after <= found.elsewhere_peak_after
    # What the lesion no longer carries stands elsewhere.
    assert found.elsewhere_mean_after > found.elsewhere_mean_before
    lesion = found.lesions[0]
    assert lesion.load_case == "push_off"
    assert lesion.mean_after < lesion.mean_before < lesion.peak_before
    low, high = lesion.peak_after_range
    assert low < lesion.peak_after < high
    assert lesion.reduction_percent == pytest.approx(100 * (1 - lesion.peak_after / lesion.peak_before))


def test_the_middle_cut_relieves_about_as_much_as_is_measured_in_print_at_80_kg():
    # Lin 2013 (doi 10.1186/1757-1146-6-29): 32 %; J Foot Ankle Res 2012;5:25: 51 %.
    assert 25 < lesion_of(80, "middle").reduction_percent < 60


def test_a_heavier_load_closes_the_void_and_lets_the_base_overtake_the_middle():
    light = [lesion_of(24, cut).peak_after for cut in ("middle", "base")]
    heavy = [lesion_of(110, cut).peak_after for cut in ("middle", "base")]
    assert light[0] < light[1]
    assert heavy[1] < heavy[0]


def test_heavier_leaves_less_void_and_bottoms_out_more():
    found = [lesion_of(weight, "middle+base") for weight in (50, 70, 90, 110, 130)]
    clearances = [lesion.clearance for lesion in found]
    bottomed = [lesion.bottomed_percent for lesion in found]
    assert clearances == sorted(clearances, reverse=True)
    assert clearances[0] > clearances[-1]
    assert bottomed == sorted(bottomed)
    assert bottomed[0] < bottomed[-1]


def test_deeper_leaves_less_pressure_on_the_lesion():
    deep, middle, base = (lesion_of(80, cut) for cut in ("middle+base", "middle", "base"))
    assert deep.mean_after < min(middle.mean_after, base.mean_after)


def test_a_firmer_base_bottoms_out_less():
    stack = spec().stack
    shares = []
    for base in ("soft", "medium", "firm"):
        other = (*stack[:2], Layer("base", base, 6.0))
        shares.append(lesion_of(60, "middle", stack=other).mean_after)
    assert shares == sorted(shares, reverse=True)


def test_the_side_does_not_matter_in_the_anatomical_frame():
    one, other = MODEL(plan(side="left")).report, MODEL(plan(side="right")).report
    assert one == other


def test_an_uncut_insole_gives_the_baseline_back_exactly():
    made = replace(plan(), openings=())
    picture = MODEL.picture(made)
    field = picture.fields[0]
    assert np.abs(field.after_kpa - field.before_kpa).max() <= 1e-6 * field.before_kpa.max()
    assert not field.void_mm.any()


def test_each_lesion_is_solved_in_its_own_load_case():
    lesions = tuple(
        LesionSpec(label, Outline.ellipse(at, 12.0, 12.0))
        for label, at in (("H", (-3.0, 35.0)), ("F", HEADS_2_3))
    )
    picture = MODEL.picture(compute(replace(spec(), lesions=lesions)))
    found = picture.findings.report
    assert [lesion.load_case for lesion in found.lesions] == ["heel_strike", "push_off"]
    assert [field.case for field in picture.fields] == ["heel_strike", "push_off"]
    assert found.load == pytest.approx(1.1 * 80 * 9.80665)
    zones = {(zone.case, zone.zone) for zone in picture.zones}
    assert zones == {("heel_strike", "rearfoot"), ("push_off", "forefoot"), ("push_off", "toes")}


def test_a_measured_instant_is_solved_with_its_own_load():
    kpa = tuple(tuple(50.0 + 20.0 * (8 < row < 14) for _ in range(12)) for row in range(18))
    given = PressureMap(kpa, (5.0, 5.0), (-30.0, 140.0), "instant")
    found = MODEL(plan(pressure_map=given)).report
    assert found.baseline == "measured"
    assert found.load == pytest.approx(force_of(given), rel=1e-9)
    assert found.solved_load == pytest.approx(found.load, rel=1e-6)
    assert found.lesions[0].peak_before == pytest.approx(70.0)


def test_a_lesion_without_load_has_no_reduction():
    kpa = tuple((110.0,) * 8 for _ in range(14))
    given = PressureMap(kpa, (5.0, 5.0), (-20.0, 145.0), "instant")
    lesion = MODEL(plan(at=(-25.0, 240.0), size=8.0, pressure_map=given)).report.lesions[0]
    assert lesion.peak_before == 0.0
    assert lesion.reduction_percent is None


def test_the_checks_say_where_to_look_and_never_that_a_foot_is_safe():
    checks = {check.id: check for check in MODEL(plan(110, "middle")).checks}
    assert set(checks) == {"layer_strain", "clearance", "bottoming_out", "peak_elsewhere"}
    assert not any(checks[name].passed for name in ("clearance", "bottoming_out", "peak_elsewhere"))
    assert all(check.message.startswith(("Not flagged: ", "Flagged: ")) for check in checks.values())
    light = {check.id: check for check in MODEL(plan(35, "middle+base")).checks}
    assert light["clearance"].passed
    assert light["bottoming_out"].passed
    assert light["peak_elsewhere"].value < checks["peak_elsewhere"].value


def test_a_soft_thin_stack_is_flagged_for_its_strain():
    stack = (Layer("cover", "soft", 3.0), Layer("middle", "soft", 6.0), Layer("base", "soft", 6.0))
    checks = {check.id: check for check in MODEL(plan(130, "middle", stack=stack)).checks}
    assert not checks["layer_strain"].passed
    assert checks["layer_strain"].value > 0.5


def test_what_the_figures_stand_on_is_said():
    said = " ".join(MODEL(plan()).reasons)
    for words in (
        "open reference map",
        "assumed",
        "not this foot",
        "32 to 51 %",
        "flat shoe",
        "1.1 x body weight",
    ):
        assert words in said


def test_a_clinics_own_foam_is_used():
    firm = replace(packaged_foams()["firm"], id="ours", modulus_kpa=4000.0)
    stack = (*spec().stack[:2], Layer("base", "ours", 6.0))
    own = PressureModel(foams={**packaged_foams(), "ours": firm}, others=False)
    assert lesion_of(80, "middle", own, stack=stack).mean_after != lesion_of(80, "middle").mean_after


def test_coarse_cells_answer_like_fine_ones():
    coarse = lesion_of(80, "middle", PressureModel(cell_mm=5.0, ranges=False, others=False))
    fine = lesion_of(80, "middle")
    assert coarse.mean_after == pytest.approx(fine.mean_after, rel=0.1)
    assert coarse.peak_after_range == (coarse.peak_after, coarse.peak_after)


def test_two_runs_give_the_same_figures():
    assert MODEL(plan()) == MODEL(plan())


def test_every_plan_says_what_the_estimate_is_off_by_and_what_cuts_are_ranked_by():
    for cut in ("base", "middle", "middle+base"):
        said = " ".join(MODEL(plan(80, cut)).reasons)
        assert "Against finite elements of the demonstration stack" in said
        assert "mean over 1.5 cm²" in said
        assert "one cell of 2.5 mm" in said


@pytest.mark.parametrize(
    "where",
    [
        {"size": 20.0},
        {"size": 8.0},
        {"size": 30.0, "at": (0.0, 185.0)},
        {"size": 12.0, "at": (-20.0, 180.0)},
        {"size": 20.0, "at": (0.0, 35.0)},
        {"size": 34.0, "at": (0.0, 35.0)},
        {"size": 15.0, "at": (-15.0, 230.0)},
    ],
)
@pytest.mark.parametrize(("weight", "cut"), [(60, "base"), (90, "middle"), (60, "middle+base")])
def test_preview_and_plan_agree_on_the_mean_over_a_patch(where, weight, cut):
    """3 % or 1 kPa."""
    made = plan(weight, cut, **where)
    preview, own = (
        PressureModel(cell_mm=cell, ranges=False, others=False)(made).report.lesions[0] for cell in (5.0, 2.5)
    )
    assert preview.patch_mean_before == pytest.approx(own.patch_mean_before, rel=0.03)
    assert preview.patch_mean_after == pytest.approx(own.patch_mean_after, rel=0.03, abs=1.0)
