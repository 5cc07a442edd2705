import pytest
from hypothesis import given
from hypothesis import strategies as st

from clinic.healing.kappa import KappaError, cohen_kappa


def test_two_readers_of_fifty_cases_worked_by_hand():
    # 20 both yes, 5 yes/no, 10 no/yes, 15 both no: observed 0.7, expected 0.5·0.6 + 0.5·0.4 = 0.5, kappa 0.4.
    first = ["y"] * 25 + ["n"] * 25
    second = ["y"] * 20 + ["n"] * 5 + ["y"] * 10 + ["n"] * 15
    found = cohen_kappa(first, second)
    assert (found.same, found.n) == (35, 50)
    assert found.observed == pytest.approx(0.7)
    assert found.expected == pytest.approx(0.5)
    assert found.kappa == pytest.approx(0.4)


@given(st.lists(st.tuples(st.sampled_from("abc"), st.sampled_from("abc")), min_size=1, max_size=60))
def test_kappa_is_symmetric_at_most_one_and_one_only_when_alike(pairs):
    one, two = zip(*pairs, strict=True)
    found, turned = cohen_kappa(one, two), cohen_kappa(two, one)
    if found.kappa is None:
        assert turned.kappa is None
        assert found.same == found.n
    else:
        assert found.kappa == pytest.approx(turned.kappa)
        assert found.kappa <= 1 + 1e-12
        assert (found.kappa > 1 - 1e-12) == (found.same == found.n)


def test_no_case_or_unequal_counts_are_refused():
    with pytest.raises(KappaError):
        cohen_kappa([], [])
    with pytest.raises(KappaError):
        cohen_kappa(["a"], ["a", "b"])
