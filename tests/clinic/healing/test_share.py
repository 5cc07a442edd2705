import pytest
from hypothesis import given
from hypothesis import strategies as st

from clinic.healing.errors import SurvivalError
from clinic.healing.share import share_of


@pytest.mark.parametrize(
    ("count", "total", "low", "high"),
    # Arms of a trial of casts and walkers, healed of treated: Armstrong DG et al., Diabetes Care 2001;24:1019-1022
    # (counts rebuilt from its percentages); bounds by the closed formula.
    [(17, 19, 0.6861, 0.9706), (13, 20, 0.4329, 0.8188)],
)
def test_wilson_intervals_of_a_published_trial(count, total, low, high):
    found = share_of(count, total)
    assert (found.low, found.high) == (pytest.approx(low, abs=1e-4), pytest.approx(high, abs=1e-4))


def test_no_case_has_no_share():
    assert share_of(0, 0) is None


@pytest.mark.parametrize(("count", "total"), [(-1, 3), (4, 3)])
def test_an_impossible_count_is_refused(count, total):
    with pytest.raises(SurvivalError, match="not from 0 to the total, 3"):
        share_of(count, total)


@given(st.integers(1, 10_000).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n))))
def test_the_interval_encloses_the_share_and_mirrors(pair):
    count, total = pair
    found, mirror = share_of(count, total), share_of(total - count, total)
    assert 0.0 <= found.low <= found.share <= found.high <= 1.0
    assert found.low == pytest.approx(1.0 - mirror.high, abs=1e-9)
