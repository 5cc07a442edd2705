"""Closed formulas and published worked figures of wound areas.

Sources: Gilman TH, Wounds 1990;2:95-101 (linear advance, as used in Wound Repair Regen 2008;16:507-512);
Rogers LC et al., J Diabetes Sci Technol 2010;4:799-802 (length × width against the ellipse); Sheehan P et
al., Diabetes Care 2003;26:1879-1882 (53 % at 4 weeks); Zimny S et al., J Diabetes Complications
2002;16:327-332 (radius of 61.2 mm²). Ellipse perimeters by Ramanujan's second formula.
"""

import math
from datetime import date, timedelta

import pytest

from clinic.healing.progress import linear_advance, progress_of, reduction_percent
from clinic.healing.series import Area, ellipse_area, equivalent_radius, last_run


def ellipse_perimeter(length, width):
    a, b = length / 2, width / 2
    h = ((a - b) / (a + b)) ** 2
    return math.pi * (a + b) * (1 + 3 * h / (10 + math.sqrt(4 - 3 * h)))


@pytest.mark.parametrize(("length", "width", "cm2"), [(40, 30, 9.4248), (25, 18, 3.5343), (12, 8, 0.7540)])
def test_an_ellipse_is_a_quarter_pi_of_length_times_width(length, width, cm2):
    assert ellipse_area(length, width) / 100 == pytest.approx(cm2, abs=5e-5)


def test_the_rectangle_overstates_the_ellipse_by_a_fixed_ratio():
    assert 40 * 30 / ellipse_area(40, 30) == pytest.approx(1.2732, abs=5e-5)


@pytest.mark.parametrize(("first", "later", "percent"), [(5.00, 2.35, 53.0), (2.0, 2.5, -25.0)])
def test_percentage_area_reduction(first, later, percent):
    assert reduction_percent(first, later) == pytest.approx(percent, abs=1e-9)


def test_linear_advance_of_an_ellipse_over_four_weeks():
    start, day = date(2026, 1, 5), timedelta(days=28)
    areas = [
        Area(start, ellipse_area(40, 30), perimeter=ellipse_perimeter(40, 30)),
        Area(start + day, ellipse_area(30, 20), perimeter=ellipse_perimeter(30, 20)),
    ]
    assert areas[0].margin == pytest.approx(110.517, abs=1e-3)
    assert areas[1].margin == pytest.approx(79.327, abs=1e-3)
    progress = progress_of(last_run(areas))
    assert progress.reduction_4w == pytest.approx(50.0)
    assert progress.advance * 4 == pytest.approx(4.964, abs=5e-4)
    assert progress.advance == pytest.approx(1.241, abs=5e-4)


def test_linear_advance_of_a_circle_is_the_loss_of_radius():
    areas = [math.pi * 20.0**2, math.pi * 15.0**2]
    assert linear_advance(*areas) == pytest.approx(5.0)


def test_equivalent_radius():
    assert equivalent_radius(61.2) == pytest.approx(4.4137, abs=5e-5)
