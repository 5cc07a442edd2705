"""When a typed number is asked about: symmetric, never about nought, and never about the last value."""

from hypothesis import given
from hypothesis import strategies as st

from clinic.guidelines.plausible import SMALL_AREA_MM2, area_jumps, slip_of_ten, weight_change

positive = st.floats(min_value=0.1, max_value=300)
areas = st.floats(min_value=0.1, max_value=60_000)
ratios = st.floats(min_value=2, max_value=10)


@given(positive, positive)
def test_a_slip_is_one_in_both_directions(a, b):
    assert slip_of_ten(a, b) is slip_of_ten(b, a)


@given(positive, st.floats(0.75, 1.35))
def test_a_lost_point_is_found_whatever_changed_a_little_since(last, change):
    assert slip_of_ten(last, last * change * 10)
    assert slip_of_ten(last, last * change * 100)
    assert slip_of_ten(last, last * change / 10)
    assert not slip_of_ten(last, last * change)


@given(positive)
def test_nought_is_a_finding_and_no_slip(last):
    assert not slip_of_ten(last, 0)
    assert not area_jumps(last, 0, ratio=2.5, small_ratio=5)
    assert not area_jumps(0, last, ratio=2.5, small_ratio=5)


@given(areas, areas, ratios, ratios)
def test_areas_are_compared_as_a_ratio_in_both_directions(a, b, ratio, more):
    limits = {"ratio": ratio, "small_ratio": ratio + more}
    assert area_jumps(a, b, **limits) is area_jumps(b, a, **limits)
    wanted = ratio + more if min(a, b) < SMALL_AREA_MM2 else ratio
    assert area_jumps(a, b, **limits) is (max(a, b) / min(a, b) >= wanted)


@given(areas, st.floats(1, 100), ratios)
def test_a_higher_limit_asks_no_more_often(area, times, ratio):
    asked_high = area_jumps(area, area * times, ratio=ratio + 1, small_ratio=ratio + 1)
    assert not asked_high or area_jumps(area, area * times, ratio=ratio, small_ratio=ratio)


@given(st.floats(20, 300), st.floats(-50, 50))
def test_a_change_of_weight_is_a_share_of_the_last(last, percent):
    assert abs(weight_change(last, last * (1 + percent / 100)) - percent) < 1e-9
