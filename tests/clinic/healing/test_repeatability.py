"""Limits of agreement and the coefficient of variation of repeated areas."""

import math
import random

import pytest

from clinic.healing.errors import SeriesError
from clinic.healing.repeatability import LEAST_PAIRS, Pair, Repeat, agreement, pairs_between, pairs_within


def test_equal_pairs_have_no_error():
    found = agreement([Pair(100.0, 100.0)] * 5)
    assert (found.bias, found.low, found.high, found.variation) == (0, 0, 0, 0)
    assert not found.is_enough


def test_limits_by_hand():
    # Differences in per cent of the mean: 10, -10, 10, -10 around areas of 100.
    pairs = [Pair(95.0, 105.0), Pair(105.0, 95.0)] * 2
    found = agreement(pairs)
    spread = math.sqrt(4 * 100 / 3)
    assert found.bias == pytest.approx(0)
    assert found.high == pytest.approx(1.96 * spread)
    assert found.variation == pytest.approx(math.sqrt(4 * 100 / 8))


def test_simulated_observers_give_back_the_error_they_were_given():
    rng = random.Random(5)
    pairs = [Pair(300 * rng.gauss(1, 0.06), 300 * rng.gauss(1, 0.06)) for _ in range(4000)]
    found = agreement(pairs)
    assert found.variation == pytest.approx(6.0, rel=0.05)
    assert found.high == pytest.approx(1.96 * math.sqrt(2) * 6.0, rel=0.05)
    low, high = found.bias_interval
    assert low < 0 < high


def test_pairs_are_taken_within_and_between_observers():
    repeats = [Repeat(1, 7, 100), Repeat(1, 7, 104), Repeat(1, 8, 90), Repeat(2, 8, 50), Repeat(2, 7, 55)]
    assert pairs_within(repeats) == [Pair(100, 104)]
    assert pairs_between(repeats) == [Pair(100, 90), Pair(50, 55)]


def test_an_error_of_this_clinic_needs_pairs_enough():
    pairs = [Pair(100.0, 103.0)]
    assert agreement(pairs) is None
    assert not agreement(pairs * (LEAST_PAIRS - 1)).is_enough
    assert agreement(pairs * LEAST_PAIRS).is_enough


@pytest.mark.parametrize("area", [0.0, -1.0, float("nan"), float("inf")])
def test_an_area_that_is_none_is_refused(area):
    with pytest.raises(SeriesError, match="above 0"):
        Repeat(1, 1, area)
