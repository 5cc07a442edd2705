"""The plain words say what the numbers say."""

from dataclasses import replace

from offload.core.plan.compute import with_pressure
from offload.core.plan.report import PressureModel
from offload.core.plan.summary import summary_of
from tests.offload.core.pressure_plans import plan

MODEL = PressureModel(cell_mm=5.0, others=False)


def test_a_plan_without_pressures_says_nothing():
    assert summary_of(plan(82.0, "middle")) == ()


def test_the_words_hold_the_figures_of_the_report():
    made = with_pressure(plan(82.0, "middle"), MODEL(plan(82.0, "middle")))
    lesion = made.pressure.lesions[0]
    first, second, third = summary_of(made)
    assert f"from {lesion.peak_before:.0f} to {lesion.peak_after:.0f} kPa" in first
    assert f"{lesion.reduction_percent:.0f} % less at push-off" in first
    assert f"{made.pressure.rim_peak_after:.0f} kPa" in second
    assert "32 to 51 %" in third


def test_an_open_and_a_closed_void_are_told_apart():
    light = with_pressure(plan(25.0, "middle+base"), MODEL(plan(25.0, "middle+base")))
    heavy = with_pressure(plan(200.0, "middle"), MODEL(plan(200.0, "middle")))
    assert "the void stays open" in summary_of(light)[0]
    assert "the void closes under" in summary_of(heavy)[0]


def test_more_pressure_is_called_more():
    made = with_pressure(plan(82.0, "middle"), MODEL(plan(82.0, "middle")))
    worse = replace(made.pressure.lesions[0], reduction_percent=-12.0)
    told = replace(made, pressure=replace(made.pressure, lesions=(worse,)))
    assert "12 % more" in summary_of(told)[0]
