import pytest

from offload.core.foam.stack import Layer
from offload.core.plan.clearance import clearance_advice
from offload.core.pressure.grid import PressureMap
from tests.offload.core.pressure_plans import plan, trials


def advice(weight: float, cut: str = "auto", **more):
    return clearance_advice(trials(plan(weight, cut, **more)))


def test_a_light_person_is_advised_the_cut_that_takes_out_least():
    found = advice(50)
    assert found.cut_layers in (("middle",), ("base",))
    assert "least foam" in found.because
    assert "For ranking only." in found.because


def test_a_heavy_person_is_advised_a_deeper_cut():
    """On a plan's own cells: a base cut alone lowers the patch mean by 29.9 % here."""
    assert clearance_advice(trials(plan(130), cell=2.5)).cut_layers == ("middle", "base")


def test_a_heavier_person_is_never_advised_a_shallower_cut():
    deeper = [len(advice(weight).cut_layers or ()) for weight in (50, 90, 130, 170)]
    assert deeper == sorted(deeper)


@pytest.mark.parametrize("cut", ["middle", "base", "middle+base"])
def test_the_advice_does_not_depend_on_what_the_plan_cuts(cut):
    assert advice(80, cut).cut_layers == advice(80).cut_layers


def test_the_void_is_told_for_soft_central_and_stiff_tissue():
    because = advice(100).because
    for word in ("soft", "central", "stiff"):
        assert f"with {word} tissue" in because


def test_no_cut_is_advised_where_none_helps():
    thin = (Layer("cover", "firm", 12.0), Layer("base", "firm", 1.0))
    found = advice(130, stack=thin)
    assert found.cut_layers is None
    assert "cannot clear the ulcer at this load" in found.because


@pytest.mark.parametrize("weight", [60, 90, 120])
def test_the_advised_cut_lowers_the_patch_mean_by_a_tenth_at_least(weight):
    tried = trials(plan(weight))
    chosen = clearance_advice(tried).cut_layers
    lesion = tried.cut(chosen, tried.plan.wall).report.lesions[0]
    assert lesion.patch_mean_after <= 0.9 * lesion.patch_mean_before


def test_light_feet_are_cut_in_the_middle_or_base_and_the_void_stays_open_when_it_can():
    found = advice(25, "middle")
    assert "stays open with stiff tissue" in found.because


def test_an_unloaded_lesion_gets_no_advice():
    kpa = tuple((110.0,) * 8 for _ in range(14))
    given = PressureMap(kpa, (5.0, 5.0), (-20.0, 145.0), "instant")
    found = advice(80, at=(-25.0, 240.0), size=8.0, pressure_map=given)
    assert found.cut_layers is None
    assert "No ulcer carries pressure" in found.because
