"""A share of cases and its interval."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from clinic.healing.proportion import ProportionError, wilson

COUNTS = st.integers(1, 2000).flatmap(lambda of: st.tuples(st.integers(0, of), st.just(of)))


@given(COUNTS)
def test_the_interval_holds_the_share_and_stays_between_none_and_all(pair):
    share = wilson(*pair)
    assert 0.0 <= share.low <= share.share <= share.high <= 1.0


@given(COUNTS)
def test_the_complement_mirrors_the_interval(pair):
    count, of = pair
    one, other = wilson(count, of), wilson(of - count, of)
    assert other.low == pytest.approx(1.0 - one.high, abs=1e-12)
    assert other.high == pytest.approx(1.0 - one.low, abs=1e-12)


@given(COUNTS)
def test_each_end_solves_the_equation_it_comes_from(pair):
    count, of = pair
    share, z = wilson(count, of), 1.959963984540054
    for end in (share.low, share.high):
        assert abs(share.share - end) == pytest.approx(z * math.sqrt(end * (1.0 - end) / of), abs=1e-9) or (
            count in (0, of) and end in (0.0, 1.0)
        )


def test_more_cases_of_the_same_share_narrow_the_interval():
    few, many = wilson(6, 10), wilson(60, 100)
    assert many.high - many.low < few.high - few.low


@pytest.mark.parametrize(
    ("count", "of", "level", "named"),
    [(0, 0, 0.95, "of: 0"), (-1, 4, 0.95, "count: -1"), (5, 4, 0.95, "count: 5"), (1, 4, 1.0, "level: 1")],
)
def test_a_fault_names_field_value_and_limit(count, of, level, named):
    with pytest.raises(ProportionError, match=named):
        wilson(count, of, level)
