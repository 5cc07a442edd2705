from datetime import date, timedelta

import pytest

from clinic.charts.errors import ChartError
from clinic.charts.scale import Quantity, Spacing, scale_for
from clinic.charts.trajectory import trajectory_svg
from clinic.healing.series import Area

DAY = date(2026, 1, 5)
AREAS = [Area(DAY + timedelta(days=7 * i), a) for i, a in enumerate([400.0, 300.0, 250.0, 200.0, 60.0])]


def scale(quantity=Quantity.AREA, spacing=Spacing.LINEAR, areas=AREAS):
    return scale_for(areas, areas[0].area_cm2, quantity, spacing)


def test_area_stands_on_zero_and_holds_every_error_bar():
    found = scale()
    assert (found.low, found.of(2.5)) == (0.0, 2.5)
    assert found.high > 4.0 + 0.4


def test_reduction_rises_to_a_hundred_when_the_wound_is_gone():
    found = scale(Quantity.REDUCTION)
    assert (found.of(4.0), found.of(2.0), found.of(0.0)) == (0.0, 50.0, 100.0)
    assert found.low <= 100 * (1 - 4.4 / 4.0)
    assert found.high > 100
    assert found.ends(2.0, 0.2) == pytest.approx((45.0, 55.0))


def test_a_wound_that_grew_is_below_zero_and_on_the_axis():
    grown = [Area(DAY, 100.0), Area(DAY + timedelta(days=7), 400.0)]
    found = scale(Quantity.REDUCTION, areas=grown)
    assert found.low < found.of(4.4) < -300


def test_by_factors_zero_lies_at_the_bottom():
    found = scale(spacing=Spacing.LOG)
    assert found.low > 0
    assert found.of(0.0) == found.low
    assert found.of(2.0) == 2.0


@pytest.mark.parametrize(
    ("areas", "spacing", "words"),
    [(AREAS, Spacing.LOG, "spacing: log"), ([Area(DAY, 0.0)], Spacing.LINEAR, "the first area is 0")],
)
def test_a_reduction_that_cannot_be_drawn_is_refused(areas, spacing, words):
    with pytest.raises(ChartError, match=words):
        scale(Quantity.REDUCTION, spacing, areas)


def test_the_three_axes_give_three_charts_each_the_same_every_time():
    asked = [
        (Quantity.AREA, Spacing.LINEAR),
        (Quantity.AREA, Spacing.LOG),
        (Quantity.REDUCTION, Spacing.LINEAR),
    ]
    drawn = [trajectory_svg(AREAS, quantity=q, spacing=s) for q, s in asked]
    assert len(set(drawn)) == 3
    assert drawn == [trajectory_svg(AREAS, quantity=q, spacing=s) for q, s in asked]
    assert b"Reduction from the first area" in drawn[2]


def test_a_wound_closed_at_first_sight_is_drawn_by_factors():
    svg = trajectory_svg([Area(DAY, 0.0), Area(DAY + timedelta(days=7), 100.0)], spacing=Spacing.LOG)
    assert b"by factors" in svg
