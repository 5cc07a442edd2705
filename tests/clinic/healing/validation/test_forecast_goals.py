"""The goals of the forecast at a size for every run; the commands of the modules beside this file print the
whole tables.

Each limit is the goal plus what the smaller number of courses can stray by.
"""

import time

import numpy as np
import pytest

from clinic.healing.alarms import TRADE_OFF
from clinic.healing.fared import SIMULATED
from clinic.healing.forecast import forecast_many
from tests.bench.healing import wounds
from tests.clinic.healing.validation import alarms, clinics
from tests.clinic.healing.validation.generators import KINDS, mixture
from tests.clinic.healing.validation.judging import JUDGED, WEEKS, marks_of, reliability, said_of, together

COUNT = 150


@pytest.fixture(scope="module")
def said():
    courses = mixture(COUNT, JUDGED)
    return {week: said_of(courses, week) for week in WEEKS}


def test_the_kinds_are_unlike_and_all_judged(said):
    for one in said.values():
        assert set(one.kind) == set(KINDS)
    shares = [float(np.mean(said[4].closes[said[4].kind == kind] <= 140)) for kind in KINDS]
    assert max(shares) - min(shares) > 0.1


def test_pooled_the_interval_covers_and_is_seldom_late(said):
    pool = marks_of(together(list(said.values())))
    assert 0.77 <= pool.covered <= 0.92
    assert pool.before_low <= 0.18


@pytest.mark.parametrize(("weeks", "least"), [((3, 4, 6), 0.40), ((8, 12, 16), 0.60)])
def test_late_ends_are_named_often_enough(said, weeks, least):
    assert marks_of(together([said[week] for week in weeks])).finite >= least - 0.03


def test_chances_mean_what_they_say(said):
    pool = marks_of(together(list(said.values())))
    assert max(pool.ece_8, pool.ece_12, pool.ece_20) <= 0.08


@pytest.mark.parametrize(("week", "share"), [(4, 0.85), (8, 0.75), (12, 0.60)])
def test_chances_beat_the_base_rate_and_the_four_week_rule(said, week, share):
    row = marks_of(said[week])
    assert row.brier <= share * row.base
    assert row.brier < row.rule


@pytest.mark.parametrize("weeks", [8, 12, 20])
def test_the_count_shown_beside_a_chance_is_that_of_this_table(said, weeks):
    pool = together(list(said.values()))
    chance = {8: pool.next_8, 12: pool.by_12, 20: pool.by_20}[weeks]
    came = pool.closes <= 56 if weeks == 8 else pool.closes + pool.span <= 7 * weeks
    asked = np.full(chance.size, True) if weeks == 8 else pool.span < 7 * weeks
    for low, count, _, closed in reliability(chance[asked], came[asked]):
        spread = np.sqrt(closed * (1 - closed) / count)
        # Looks at one wound in several weeks are alike, so they count for fewer.
        expected = SIMULATED[weeks][round(low * 10)]
        assert 100 * closed == pytest.approx(expected, abs=100 * (0.02 + 4 * spread))


def test_a_steady_wound_is_seldom_told_to_have_stopped_and_a_stopped_or_growing_one_is():
    seen = alarms.by_verdict(alarms.courses(70, alarms.JUDGED))
    assert seen.ever <= 0.13
    assert seen.delay <= 3.3
    assert seen.worse >= 0.95
    printed = next(point for point in TRADE_OFF if point.is_chosen)
    # 70 courses for 400: four standard errors of the difference at 8 %.
    assert 100 * seen.ever == pytest.approx(printed.ever, abs=14)
    assert seen.delay == pytest.approx(printed.plateau_weeks, abs=1.0)


def test_in_shifted_clinics_own_figures_come_near_the_truth():
    found = clinics.judge(25, 220)

    def mean(name):
        return float(np.nanmean([getattr(one, name) for one in found]))

    assert mean("ece") <= 0.055
    assert mean("ece") < mean("ece_before")
    assert mean("covered") == pytest.approx(0.80, abs=0.035)
    assert mean("brier") <= 1.05 * mean("bar")


def test_a_thousand_ulcers_take_at_most_three_seconds():
    pairs = [(run, ()) for run in wounds()]
    forecast_many(pairs[:1])
    start = time.process_time()
    forecast_many(pairs)
    assert time.process_time() - start <= 3.0
