"""The limits of ``calibration.py`` on a cohort small enough for every run; its own command prints 2,500
wounds.

The constants were not chosen on these wounds. Tolerances are the stated limits plus what 500 wounds can
stray by.
"""

import pytest

from tests.clinic.healing.simulated import cohort
from tests.clinic.healing.validation.calibration import HELD_OUT, TRAINING, WEEKS, judge, stall_alarms


@pytest.fixture(scope="module")
def wounds():
    return cohort(700, HELD_OUT)


@pytest.fixture(scope="module")
def judged(wounds):
    training = cohort(700, TRAINING)
    return {week: judge(wounds, training, week) for week in WEEKS}


def test_at_week_four_the_eighty_percent_interval_covers_eighty_percent_and_no_more_than_its_open_ends_add(
    judged,
):
    # A late end beyond a year counts as open, so that nothing lies after it: nominal is between 80 and 90 %.
    assert judged[4].count > 500
    assert 0.78 <= judged[4].covered <= 0.91


@pytest.mark.parametrize("week", WEEKS)
def test_neither_tail_is_much_over_a_tenth(judged, week):
    assert judged[week].before_low <= 0.16
    assert judged[week].after_high <= 0.15


@pytest.mark.parametrize("week", WEEKS)
def test_the_chance_of_closing_by_week_twelve_means_what_it_says(judged, week):
    assert judged[week].error <= 0.08
    assert sum(b.count for b in judged[week].bins) == judged[week].count


@pytest.mark.parametrize("week", [4, 6, 8])
def test_the_chance_beats_the_base_rate_and_the_four_week_rule_turned_into_two_chances(judged, week):
    row = judged[week]
    assert row.brier < row.base_rate
    assert row.brier < min(row.rule_chances, row.rule_now_chances)
    assert row.brier < row.rule_hard


def test_a_stall_is_found_before_the_four_week_rule_finds_it_at_equal_false_alarms(wounds):
    ours, rule, limit = stall_alarms(wounds)
    assert len(ours.delays) > 100
    assert rule.false_share == pytest.approx(ours.false_share, abs=0.005)
    assert 0.0 < limit < 0.5
    assert ours.median < rule.median
    assert ours.found >= 0.95
