import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binom

from clinic.healing.funnel import funnel_limits, placed
from clinic.healing.proportion import ProportionError


@pytest.mark.parametrize("level", [0.95, 0.998])
@pytest.mark.parametrize("share", [0.1, 0.5, 0.83])
def test_a_share_of_many_cases_leaves_the_limits_as_seldom_as_the_level_says(share, level):
    n = 4000
    low, high = funnel_limits(share, [n], level)
    outside = binom.cdf(np.ceil(low[0] * n) - 1, n, share) + binom.sf(np.floor(high[0] * n), n, share)
    assert outside == pytest.approx(1 - level, rel=0.12)


def test_limits_come_close_to_the_normal_ones_for_many_cases():
    low, high = funnel_limits(0.5, [10_000], 0.95)
    assert high[0] - 0.5 == pytest.approx(1.96 * 0.005, rel=0.02)
    assert 0.5 - low[0] == pytest.approx(1.96 * 0.005, rel=0.03)


@given(st.floats(0.0, 1.0), st.integers(1, 2000))
def test_the_wider_level_holds_the_narrower_one_and_both_hold_the_whole_within_0_and_1(share, n):
    near, far = funnel_limits(share, [n], 0.95), funnel_limits(share, [n], 0.998)
    assert 0 <= far[0][0] <= near[0][0] + 1e-12
    assert near[1][0] <= far[1][0] + 1e-12 <= 1 + 1e-9


def test_a_share_is_placed_by_both_limits():
    middle, low, high = placed([(50, 100), (39, 100), (70, 100)], 0.5)
    assert middle.inside_95
    assert (low.inside_95, low.inside_998, low.above) == (False, True, False)
    assert (high.inside_998, high.above) == (False, True)


@pytest.mark.parametrize("wrong", [(1.2, [5], 0.95), (0.5, [0], 0.95), (0.5, [5], 1.0)])
def test_what_no_funnel_can_be_drawn_of_is_refused(wrong):
    with pytest.raises(ProportionError):
        funnel_limits(*wrong)
    with pytest.raises(ProportionError):
        placed([(6, 5)], 0.5)
