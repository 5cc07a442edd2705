"""Forecasts against what happened, on a seeded cohort the constants were not chosen on (seed 11 was used for that).

The cohort and every assumption in it stand in ``simulated.py``; it says what the model does when wounds behave as
assumed there, and nothing about a clinic's own wounds.
"""

import numpy as np
import pytest

from clinic.healing.forecast import forecast_many
from clinic.healing.progress import area_at
from tests.clinic.healing.simulated import FIRST_DAY, cohort, seen_by


@pytest.fixture(scope="module")
def wounds():
    return cohort(700, seed=2026)


def judged(wounds, day):
    pairs = seen_by(wounds, day)
    forecasts = forecast_many([(run, ()) for _, run in pairs])
    closes = np.array([np.inf if wound.closes is None else wound.closes for wound, _ in pairs])
    ends = [run.span + 364 for _, run in pairs]
    low = np.array(
        [e if f.low is None else (f.low - FIRST_DAY).days for f, e in zip(forecasts, ends, strict=True)]
    )
    high = np.array([np.inf if f.high is None else (f.high - FIRST_DAY).days for f in forecasts])
    chance = np.array([f.chance_12w for f in forecasts])
    return pairs, closes, low, high, chance


def test_at_week_four_the_eighty_percent_interval_covers_about_eighty_percent(wounds):
    _, closes, low, high, _ = judged(wounds, 28)
    assert len(closes) > 500
    assert np.mean((low <= closes) & (closes <= high)) == pytest.approx(0.80, abs=0.07)


@pytest.mark.parametrize("day", [14, 28, 42, 56])
def test_both_tails_are_near_a_tenth(wounds, day):
    _, closes, low, high, _ = judged(wounds, day)
    assert np.mean(closes < low) == pytest.approx(0.10, abs=0.06)
    assert np.mean(np.isfinite(high) & (closes > high)) <= 0.15


@pytest.mark.parametrize("day", [14, 28, 42, 56])
def test_the_chance_of_closing_by_week_twelve_means_what_it_says(wounds, day):
    _, closes, _, _, chance = judged(wounds, day)
    closed = closes <= 84
    bins = np.minimum((chance * 5).astype(int), 4)
    error = sum(
        abs(chance[bins == b].mean() - closed[bins == b].mean()) * (bins == b).mean()
        for b in range(5)
        if (bins == b).any()
    )
    assert error <= 0.08
    assert np.mean((chance - closed) ** 2) < closed.mean() * (1 - closed.mean())


def test_at_week_four_the_chance_beats_the_four_week_rule_turned_into_two_chances(wounds):
    training = seen_by(cohort(700, seed=2025), 28)

    def over_half(run):
        return area_at(run, run.span) <= 0.5 * run.first.area

    passed = np.array([over_half(run) for _, run in training])
    healed = np.array([w.closes is not None and w.closes <= 84 for w, _ in training])
    chances = {True: healed[passed].mean(), False: healed[~passed].mean()}
    pairs, closes, _, _, chance = judged(wounds, 28)
    rule = np.array([chances[over_half(run)] for _, run in pairs])
    closed = closes <= 84
    assert np.mean((chance - closed) ** 2) < np.mean((rule - closed) ** 2)
