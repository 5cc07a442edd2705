import math
from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from clinic.healing.compare import compare, slope_of, split_run
from clinic.healing.errors import SeriesError
from clinic.healing.series import Area, Method, last_run

DAY = date(2026, 1, 5)


def circles(*radii, start=0, method=Method.TRACED):
    return [Area(DAY + timedelta(days=start + 7 * i), math.pi * r**2, method) for i, r in enumerate(radii)]


def test_even_advance_is_its_slope_exactly():
    found = slope_of(circles(10, 9.5, 9, 8.5))
    assert found.slope == pytest.approx(-0.5)
    assert found.start == pytest.approx(10.0)
    assert found.radius_at(21) == pytest.approx(8.5)
    assert found.low < -0.5 < found.high


def test_equal_weights_give_the_closed_form_of_least_squares():
    # Radii below 5 mm all carry the 0.5 mm of the margin, so the weights are equal: Sxx = 5 for weeks 0 to 3.
    found = slope_of(circles(4.0, 3.9, 3.3, 3.2))
    assert found.slope == pytest.approx((-1.5 * 4.0 - 0.5 * 3.9 + 0.5 * 3.3 + 1.5 * 3.2) / 5.0)
    assert found.error == pytest.approx(0.5 / math.sqrt(5.0))
    # Student's t of 2 degrees at 97.5 % has the closed form √(2·0.95²/(1 − 0.95²)).
    assert found.high - found.slope == pytest.approx(
        math.sqrt(2 * 0.95**2 / (1 - 0.95**2)) * found.error, rel=1e-9
    )


def test_more_scatter_than_measuring_explains_widens_the_interval_and_less_does_not_narrow_it():
    calm, wild = slope_of(circles(10, 9.5, 9, 8.5, 8)), slope_of(circles(10, 7, 11, 6.5, 8))
    noisy = slope_of(circles(10, 9.4, 9.1, 8.4, 8.05))
    assert wild.error > 2 * calm.error
    assert noisy.error == pytest.approx(calm.error, rel=0.05)


def test_a_faster_second_period_is_told_and_equal_ones_are_not():
    faster = compare(circles(10, 9.9, 9.8, 9.7, 9.6, 9.5), circles(9.5, 8.3, 7.1, 5.9, 4.7, 3.5, start=42))
    assert faster.difference == pytest.approx(-1.1)
    assert faster.high < 0
    assert faster.words.startswith("The second closes 1.10 mm a week faster (95 % interval")
    same = compare(circles(10, 9.5, 9.0), circles(9.0, 8.5, 8.0))
    assert same.low <= 0 <= same.high
    assert same.words.startswith("No difference can be told")


def test_an_area_on_the_day_of_the_change_came_before_it():
    run = last_run(circles(10, 9, 8, 7, 6))
    before, after = split_run(run, DAY + timedelta(days=14))
    assert [len(before), len(after)] == [3, 2]


def test_two_methods_are_compared_only_with_a_mark():
    assert compare(circles(9, 8, 7), circles(9, 8, 7)).one_kind
    assert not compare(circles(9, 8, 7), circles(9, 8, 7, method=Method.RULER)).one_kind


@pytest.mark.parametrize(
    ("areas", "words"),
    [
        (circles(9, 8), "areas: 2 given, at least 3"),
        ([*circles(9, 8), *circles(7, start=14, method=Method.RULER)], "more than one method"),
        (circles(9, 8, 7)[::-1], "days do not rise"),
    ],
)
def test_what_has_no_slope_is_refused(areas, words):
    with pytest.raises(SeriesError, match=words):
        slope_of(areas)


def test_a_level_outside_zero_to_one_is_refused():
    with pytest.raises(SeriesError, match="confidence: 1"):
        slope_of(circles(9, 8, 7), 1.0)


def test_the_interval_of_the_difference_covers_what_it_says_on_seeded_courses():
    # 400 pairs, radii with the 5 % error a traced area of 10 % has; both truly lose 0.5 mm a week.
    rng = np.random.default_rng(5)
    inside = 0
    for _ in range(400):
        pair = [circles(*(r * rng.normal(1.0, 0.05) for r in (10, 9.5, 9, 8.5, 8, 7.5))) for _ in range(2)]
        found = compare(*pair)
        inside += found.low <= 0 <= found.high
    assert 0.93 <= inside / 400 <= 1.0


@given(st.lists(st.floats(1, 20), min_size=3, max_size=9), st.lists(st.floats(1, 20), min_size=3, max_size=9))
def test_swapping_the_two_turns_the_difference_round(one, other):
    there, back = compare(circles(*one), circles(*other)), compare(circles(*other), circles(*one))
    assert there.difference == pytest.approx(-back.difference, abs=1e-9)
    assert there.low == pytest.approx(-back.high, abs=1e-9)
    assert there.low <= there.difference <= there.high
