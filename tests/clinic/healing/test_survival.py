import math
import warnings
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from clinic.healing.errors import SurvivalError
from clinic.healing.survival import at_risk, kaplan_meier, logrank

ROWS = st.lists(st.tuples(st.integers(0, 30), st.integers(0, 1)), min_size=1, max_size=60)


def split(rows):
    return [r[0] for r in rows], [r[1] for r in rows]


def test_without_events_nothing_is_estimable():
    estimate = kaplan_meier([3, 4], [0, 0])
    assert estimate.curve == ()
    assert estimate.median is None
    assert estimate.survival_at(10) == 1.0


def test_when_all_have_the_event_the_last_bounds_are_not_estimable():
    last = kaplan_meier([1, 2], [1, 1]).curve[-1]
    assert last.survival == 0.0
    assert (last.error, last.low, last.high) == (None, None, None)


def test_a_median_exactly_at_one_half_is_reached():
    assert kaplan_meier([1, 2, 3, 4], [1, 1, 1, 1]).median == 2.0


def test_a_subject_censored_at_an_event_time_is_still_at_risk_there():
    assert kaplan_meier([4, 4], [1, 0]).curve[0].at_risk == 2


def test_numbers_at_risk_count_who_is_still_observed():
    assert at_risk([3, 4, 4, 9], [0, 4, 5, 10]) == (4, 3, 1, 0)


@pytest.mark.parametrize(
    ("durations", "events", "words"),
    [
        ([], [], "at least 1"),
        ([1, 2], [1], "counts must be equal"),
        ([-1], [1], "0 or more"),
        ([math.nan], [1], "0 or more"),
        ([1], [2], "neither 0 nor 1"),
    ],
)
def test_impossible_input_is_refused(durations, events, words):
    with pytest.raises(SurvivalError, match=words):
        kaplan_meier(durations, events)


@pytest.mark.parametrize("confidence", [0.0, 1.0, 1.5])
def test_impossible_confidence_is_refused(confidence):
    with pytest.raises(SurvivalError, match="confidence"):
        kaplan_meier([1], [1], confidence)


def test_a_test_needs_two_groups_and_an_event():
    assert logrank([([1, 2], [1, 1])]) is None
    assert logrank([([1, 2], [0, 0]), ([3], [0])]) is None
    assert logrank([([1, 2], [0, 0]), ([3], [1])]) is None


def plain_steps(rows):
    """Product limit with log-log intervals, one time after another and the share as a fraction."""
    share, greenwood, steps = Fraction(1), 0.0, []
    for when in sorted({time for time, event in rows if event}):
        risk = sum(time >= when for time, _ in rows)
        failed = sum(time == when and event for time, event in rows)
        share *= Fraction(risk - failed, risk)
        if share == 0:
            steps.append((when, risk, failed, 0.0, None, None, None))
            continue
        greenwood += failed / (risk * (risk - failed))
        width = 1.959963984540054 * math.sqrt(greenwood) / math.log(share)
        low, high = float(share) ** math.exp(-width), float(share) ** math.exp(width)
        steps.append((when, risk, failed, float(share), float(share) * math.sqrt(greenwood), low, high))
    return steps


@given(ROWS)
def test_the_estimate_equals_a_plain_loop(rows):
    estimate, steps = kaplan_meier(*split(rows)), plain_steps(rows)
    assert (estimate.n, estimate.events) == (len(rows), sum(event for _, event in rows))
    assert len(estimate.curve) == len(steps)
    for point, step in zip(estimate.curve, steps, strict=True):
        assert (point.time, point.at_risk, point.events) == step[:3]
        assert (point.survival, point.error, point.low, point.high) == tuple(
            None if value is None else pytest.approx(value, abs=1e-12) for value in step[3:]
        )


@given(ROWS, st.floats(-1, 31))
def test_the_share_at_any_time_is_that_of_the_last_step_before_it(rows, time):
    estimate = kaplan_meier(*split(rows))
    passed = [point.survival for point in estimate.curve if point.time <= time]
    assert estimate.survival_at(time) == (passed[-1] if passed else 1.0)


def test_bounds_that_are_not_known_are_no_warning():
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        assert kaplan_meier([1, 2], [1, 1]).curve[-1].low is None


@given(ROWS)
def test_the_curve_falls_within_its_bounds(rows):
    estimate = kaplan_meier(*split(rows))
    shares = [1.0, *(p.survival for p in estimate.curve)]
    assert all(a > b for a, b in zip(shares, shares[1:], strict=False))
    for point in estimate.curve:
        if point.low is not None:
            assert 0.0 <= point.low <= point.survival <= point.high <= 1.0


@given(ROWS, ROWS)
def test_the_test_of_two_groups_equals_scipys(first, second):
    ours = logrank([split(first), split(second)])
    x, y = (
        stats.CensoredData.right_censored(split(rows)[0], 1 - np.array(split(rows)[1]))
        for rows in (first, second)
    )
    if ours is None:
        return
    theirs = stats.logrank(x, y)
    assert ours.chi2 == pytest.approx(theirs.statistic**2, rel=1e-9, abs=1e-9)
    assert ours.p == pytest.approx(theirs.pvalue, rel=1e-7, abs=1e-12)


@given(ROWS, ROWS, ROWS)
def test_the_order_of_groups_does_not_matter(first, second, third):
    groups = [split(first), split(second), split(third)]
    one, other = logrank(groups), logrank(groups[::-1])
    assert (one is None) == (other is None)
    if one is not None:
        assert one.chi2 == pytest.approx(other.chi2, rel=1e-6, abs=1e-8)
        assert one.df == other.df
        assert sum(one.observed) == pytest.approx(sum(one.expected))


@given(ROWS, ROWS)
def test_the_unit_of_time_does_not_matter(first, second):
    (days, events), (others, marks) = split(first), split(second)
    whole = kaplan_meier(days, events)
    parts = kaplan_meier(np.array(days) / 8.0, events)  # exact in binary, and not whole
    assert [p.time / 8.0 for p in whole.curve] == [p.time for p in parts.curve]
    assert [(p.at_risk, p.events, p.survival, p.low) for p in whole.curve] == [
        (p.at_risk, p.events, p.survival, p.low) for p in parts.curve
    ]
    mixed = [(np.array(days) / 8.0, events), (np.array(others) / 8.0, marks)]
    assert logrank([(days, events), (others, marks)]) == logrank(mixed)
