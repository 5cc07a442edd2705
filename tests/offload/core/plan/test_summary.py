"""The plain words say what the numbers say."""

from dataclasses import replace

import pytest

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
    first, cell, second, third = summary_of(made)
    assert f"from {lesion.peak_before:.0f} to {lesion.peak_after:.0f} kPa" in cell
    before, after = lesion.patch_mean_before, lesion.patch_mean_after
    assert f"mean over 1.5 cm² at ulcer A from {before:.0f} to {after:.0f} kPa" in first
    assert f"{100 * (1 - after / before):.0f} % less at push-off" in first
    assert f"{made.pressure.rim_peak_after:.0f} kPa" in second
    assert "32 to 51 %" in third


def test_an_open_and_a_closed_void_are_told_apart():
    light = with_pressure(plan(25.0, "middle+base"), MODEL(plan(25.0, "middle+base")))
    heavy = with_pressure(plan(200.0, "middle"), MODEL(plan(200.0, "middle")))
    assert "the space under the ulcer stays open" in summary_of(light)[0]
    assert "the space under the ulcer closes under" in summary_of(heavy)[0]


def test_more_pressure_is_called_more():
    made = with_pressure(plan(82.0, "middle"), MODEL(plan(82.0, "middle")))
    worse = replace(made.pressure.lesions[0], patch_mean_before=100.0, patch_mean_after=112.0)
    told = replace(made, pressure=replace(made.pressure, lesions=(worse,)))
    assert "12 % more" in summary_of(told)[0]


def test_a_plan_kept_before_there_was_a_patch_keeps_its_sentence_of_the_peak():
    made = with_pressure(plan(82.0, "middle"), MODEL(plan(82.0, "middle")))
    old = replace(
        made.pressure.lesions[0], patch_mean_before=None, patch_mean_after=None, reduction_percent=-12.0
    )
    (first, *_) = summary_of(replace(made, pressure=replace(made.pressure, lesions=(old,))))
    assert "takes the peak at ulcer A from" in first
    assert "12 % more" in first


@pytest.mark.parametrize(
    ("after", "closed", "told", "not_told"),
    [
        (
            0.2,
            13.0,
            "under 1 kPa at push-off; the space under the ulcer closes under 13 % of it: not wholly",
            "% less",
        ),
        (0.2, 0.2, "closes under 1 % of it: not wholly relieved", "% less"),
        (0.2, 0.0, "under 1 kPa, over 95 % less", "100 %"),
        (40.0, 13.0, "40 kPa, 60 % less", "under 1 kPa"),
    ],
)
def test_a_space_that_closes_under_a_part_never_reads_as_total_relief(after, closed, told, not_told):
    made = with_pressure(plan(82.0, "middle"), MODEL(plan(82.0, "middle")))
    lesion = replace(
        made.pressure.lesions[0], patch_mean_before=100.0, patch_mean_after=after, bottomed_percent=closed
    )
    (first, *_) = summary_of(replace(made, pressure=replace(made.pressure, lesions=(lesion,))))
    assert told in first
    assert not_told not in first
