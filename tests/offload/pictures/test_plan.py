"""The tables of a plan's page claim no more than its headline."""

from dataclasses import replace

import pytest

from offload.core.plan.compute import with_pressure
from offload.core.plan.report import PressureModel
from offload.pictures.plan import plan_picture
from tests.offload.core.pressure_plans import plan


@pytest.mark.parametrize(
    ("after", "fall", "closed", "told"),
    [
        (0.2, 99.8, 9.0, ("under 1", "")),
        (0.2, 99.8, 0.0, ("under 1", "over 95 % less")),
        (40.0, 60.0, 9.0, ("40", "60 % less")),
        (112.0, -12.0, 0.0, ("112", "12 % more")),
    ],
)
def test_no_peak_reads_as_nought_nor_an_ulcer_that_touches_as_relieved_wholly(after, fall, closed, told):
    made = with_pressure(plan(82.0, "middle"), PressureModel(cell_mm=5.0)(plan(82.0, "middle")))
    lesion = replace(
        made.pressure.lesions[0], peak_after=after, reduction_percent=fall, bottomed_percent=closed
    )
    made = replace(made, pressure=replace(made.pressure, lesions=(lesion,)))
    picture = plan_picture(made)
    (line,) = picture.pressure_lines
    assert (line.after, line.change) == told
    assert [one.gain for one in picture.alternatives if one.own] == [None]
    assert all(one.peak == "under 1" or float(one.peak) >= 1 for one in picture.alternatives)
