import math
from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from clinic.healing.forecast import HORIZON, MODEL, closing_probability, forecast, forecast_many, radius_error
from clinic.healing.series import Area, Method, last_run
from clinic.healing.turning import CLOSED_RADIUS

DAY = date(2026, 1, 5)


def shrinking(radius, pace, count, step=7):
    """Circles whose radius falls by ``pace`` mm a week."""
    return last_run(
        [
            Area(DAY + timedelta(days=step * i), math.pi * max(0.0, radius - pace * step / 7 * i) ** 2)
            for i in range(count)
        ]
    )


def test_under_three_areas_or_after_closing_there_is_none():
    assert forecast(shrinking(10, 1, 2)) is None
    assert forecast(shrinking(2, 1, 3)) is None


def test_a_steady_wound_closes_within_its_interval():
    found = forecast(shrinking(10.0, 1.0, 6))
    truth = DAY + timedelta(days=70)
    assert found.low <= truth <= found.high
    assert found.low < found.median < found.high
    assert abs((found.median - truth).days) <= 28
    assert found.trend == pytest.approx(-1.0, abs=2 * found.trend_error)


def test_a_growing_wound_has_no_closing_date():
    found = forecast(shrinking(8.0, -0.5, 6))
    assert (found.median, found.high) == (None, None)
    assert found.chance_next_8w < 0.05


def test_chances_count_from_the_first_area_and_are_nothing_once_that_day_is_past():
    late = forecast(shrinking(20.0, 1.0, 14))  # day 91, open
    assert late.chance_12w == 0.0
    assert 0.0 < late.chance_20w < 1.0
    early = forecast(shrinking(20.0, 1.0, 5))  # day 28: 12 weeks from the first area are 8 from the last
    assert early.chance_12w == early.chance_next_8w


def test_a_break_widens_the_interval_and_one_outside_the_run_before_it_changes_nothing():
    run = shrinking(10.0, 0.8, 6)
    plain = forecast(run)
    broken = forecast(run, [DAY + timedelta(days=25)])
    assert broken.trend_error > plain.trend_error
    assert broken.low <= plain.low
    assert forecast(run, [DAY - timedelta(days=9), DAY]) == plain
    today = forecast(run, [run.last.day])
    assert today.low <= plain.low
    assert today.trend_error > plain.trend_error
    assert today.fan[3].error > plain.fan[3].error


def test_dates_are_named_from_the_fifth_area_on():
    assert not forecast(shrinking(10.0, 1.0, 4)).names_date
    assert forecast(shrinking(10.0, 1.0, 5)).names_date


def test_the_curve_runs_from_first_to_last_area_and_the_fan_from_there():
    run = shrinking(10.0, 1.0, 6)
    found = forecast(run)
    assert (found.curve[0].day, found.curve[-1].day) == (run.first.day, run.last.day)
    assert all(a.day < b.day for a, b in zip(found.curve, found.curve[1:], strict=False))
    assert found.curve[-1].radius == pytest.approx(found.radius, abs=found.radius_error)
    assert found.fan[0].day == run.last.day
    assert found.fan[-1].day == found.high
    assert found.fan[0].error == pytest.approx(found.radius_error, rel=0.2)
    assert all(a.error < b.error for a, b in zip(found.fan, found.fan[1:4], strict=False))


def test_many_at_once_equal_one_by_one():
    runs = [shrinking(10.0, 1.0, 6), shrinking(9.0, 0.2, 12), shrinking(5.0, 1.0, 2), shrinking(7.0, -0.1, 4)]
    breaks = [(), (DAY + timedelta(days=30),), (), (DAY + timedelta(days=60),)]
    together = forecast_many(list(zip(runs, breaks, strict=True)))
    for run, days, found in zip(runs, breaks, together, strict=True):
        alone = forecast(run, days)
        assert (alone is None) == (found is None)
        if alone is not None:
            assert (found.median, found.low, found.high) == (alone.median, alone.low, alone.high)
            assert found.chance_next_8w == pytest.approx(alone.chance_next_8w, abs=1e-9)


def test_the_error_of_a_radius_is_half_that_of_the_area_and_at_least_half_a_millimetre():
    assert radius_error(Area(DAY, math.pi * 400.0)) == pytest.approx(0.05 * 20)
    assert radius_error(Area(DAY, math.pi * 400.0, Method.RULER)) == pytest.approx(0.10 * 20)
    assert radius_error(Area(DAY, math.pi * 4.0)) == pytest.approx(0.5)
    assert radius_error(Area(DAY, 0.0)) == 0.5


@settings(max_examples=60)
@given(
    st.lists(st.floats(0.0, 3000.0), min_size=3, max_size=15),
    st.lists(st.integers(-20, 200), max_size=4),
    st.integers(1, 40),
)
def test_any_series_gives_ordered_dates_and_chances(areas, breaks, step):
    run = last_run([Area(DAY + timedelta(days=step * i), a) for i, a in enumerate(areas)])
    found = forecast(run, [DAY + timedelta(days=b) for b in breaks])
    if areas[-1] == 0 or len(run.areas) < 3:
        assert found is None
        return
    dates = [found.low, found.median, found.high]
    known = [d for d in dates if d is not None]
    assert known == sorted(known)
    assert dates[len(known) :] == [None] * (3 - len(known))
    assert 0.0 <= found.still <= 1.0
    assert 0.0 <= found.growing <= 1.0
    assert found.weeks[0] == 0.0
    assert list(found.weeks) == sorted(found.weeks)
    assert found.weeks[-1] <= 1.0
    assert all(run.last.day < d <= run.last.day + timedelta(days=HORIZON) for d in known)
    for chance in (found.chance_12w, found.chance_20w, found.chance_next_8w):
        assert 0.0 <= chance <= 1.0
    assert found.chance_12w <= found.chance_20w
    assert all(math.isfinite(p.radius) and math.isfinite(p.error) for p in (*found.curve, *found.fan))


@pytest.mark.parametrize(
    ("level", "trend", "variances"),
    [
        (7.0, -0.10, (0.12, 0.002, 0.0006)),
        (4.0, -0.03, (0.10, 0.001, 0.0004)),
        (9.0, 0.02, (0.15, 0.001, 0.0008)),
    ],
)
def test_the_closing_law_is_near_that_of_simulated_paths(level, trend, variances):
    # 4,000 seeded paths of the model in half-day steps, those closed at the start thrown away as the law
    # does.
    rng = np.random.default_rng(7)
    count, step, days = 4000, 0.5, 182
    covariance = np.array([[variances[0], variances[1]], [variances[1], variances[2]]])
    r, v = rng.multivariate_normal([level, trend], covariance, count).T
    alive = r > CLOSED_RADIUS
    r, v = r[alive], v[alive]
    closed = np.zeros((days, r.size), dtype=bool)
    down = np.zeros(r.size, dtype=bool)
    for k in range(int(days / step)):
        r = r + v * step + np.sqrt(MODEL.level_noise * step) * rng.standard_normal(r.size)
        v = v + np.sqrt(MODEL.trend_noise * step) * rng.standard_normal(r.size)
        down |= r <= CLOSED_RADIUS
        closed[int(k * step)] = down
    law = closing_probability(
        np.array([level]),
        np.array([trend]),
        tuple(np.array([x]) for x in variances),
        np.arange(1.0, days + 1),
        MODEL,
    )[0]
    gap = closed.mean(axis=1) - law
    assert gap.min() > -0.02  # a lower bound, up to the noise of 4,000 paths
    assert gap.max() < 0.05


def at(*pairs):
    return last_run([Area(DAY + timedelta(days=d), math.pi * r**2) for d, r in pairs])


def test_eight_weeks_without_an_area_there_is_no_forecast():
    run = shrinking(10.0, 0.8, 5)
    assert forecast(run, today=run.last.day + timedelta(days=56)) == forecast(run)
    assert forecast(run, today=run.last.day + timedelta(days=57)) is None


def test_areas_before_a_gap_of_more_than_eight_weeks_are_not_used():
    assert forecast(at((0, 9), (7, 8.5), (14, 8), (72, 6), (79, 5.5))) is None
    late = at((0, 9), (7, 8.5), (72, 6), (79, 5.5), (86, 5))
    alone = at((72, 6), (79, 5.5), (86, 5))
    assert forecast(late).n == 3
    assert forecast(late).weeks == forecast(alone).weeks
    assert forecast(late).chance_12w == 0.0 < forecast(alone).chance_12w


@pytest.mark.parametrize("weeks", [2, 4, 6, 7])
def test_a_gap_widens_the_forecast(weeks):
    points = [(7 * i, 12 - 0.6 * i) for i in range(4 + weeks)]
    seen, gap = forecast(at(*points)), forecast(at(*points[:3], points[-1]))
    assert gap.trend_error > seen.trend_error
    assert gap.radius_error > seen.radius_error
    assert gap.low <= seen.low


@pytest.mark.parametrize("week", [1, 5, 12])
def test_the_day_of_a_chance_and_the_chance_of_a_day_agree(week):
    found = forecast(shrinking(8.0, 0.8, 5))
    day = found.day_of(found.weeks[week])
    assert abs((day - found.last).days - 7 * week) <= 1
    assert found.day_of(1.0) is None
