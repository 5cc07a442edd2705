"""Filter, smoother and forecast against the state-space engine of statsmodels with the same matrices."""

from datetime import date, timedelta

import numpy as np
import pytest

from clinic.healing.forecast import MODEL, forecast_many, radius_error
from clinic.healing.series import Area, Run
from clinic.healing.trend import TrendModel, filter_trend, smooth_trend
from clinic.healing.trend_member import trend_member
from tests.oracles.timing import seconds

pytestmark = pytest.mark.oracle

SAME = 1e-8
LIVELY = TrendModel(level_noise=0.05, trend_noise=2e-4, start_trend=-0.1, start_spread=0.3, break_spread=0.2)


def engine(times, radii, variances, widen, model):
    """The same local linear trend in statsmodels: exact diffuse level, known prior of the trend.

    Transition and state noise may change from step to step there, so spacing need not be regular.
    """
    from statsmodels.tsa.statespace.initialization import Initialization
    from statsmodels.tsa.statespace.kalman_smoother import KalmanSmoother

    n = len(times)
    smoother = KalmanSmoother(k_endog=1, k_states=2)
    smoother.bind(np.where(np.isnan(radii), np.nan, radii)[:, None].copy())
    smoother["design"] = np.array([[1.0, 0.0]])
    smoother["selection"] = np.eye(2)
    smoother["obs_cov"] = np.asarray(variances, dtype=float).reshape(1, 1, n)
    transition, noise = np.zeros((2, 2, n)), np.zeros((2, 2, n))
    a, b = model.level_noise, model.trend_noise
    for k, d in enumerate([*np.diff(times), 0.0]):
        move = np.array([[1.0, d], [0.0, 1.0]])
        widened = np.diag([0.0, widen[k] * model.break_spread**2])
        transition[:, :, k] = move
        noise[:, :, k] = move @ widened @ move.T + np.array(
            [[a * d + b * d**3 / 3, b * d**2 / 2], [b * d**2 / 2, b * d]]
        )
    smoother["transition"], smoother["state_cov"] = transition, noise
    start = Initialization(2)
    start.set(0, "diffuse")
    start.set(1, "known", constant=[model.start_trend], stationary_cov=[[model.start_spread**2]])
    smoother.initialize(start)
    smoother.loglikelihood_burn = 1
    return smoother


def lesions(seed, n, k, regular=True, missing=0.0, breaks=0.0):
    """Shrinking radii with noise on weekly or irregular days, some visits unmeasured, some with a break
    after."""
    rng = np.random.default_rng(seed)
    steps = np.full((n, k - 1), 7.0) if regular else rng.integers(1, 22, (n, k - 1)).astype(float)
    times = np.concatenate([np.zeros((n, 1)), np.cumsum(steps, axis=1)], axis=1)
    errors = rng.uniform(0.2, 0.8, (n, k))
    radii = rng.uniform(4, 15, (n, 1)) - rng.uniform(0.0, 0.1, (n, 1)) * times + rng.normal(0, errors)
    radii[:, 1:][rng.random((n, k - 1)) < missing] = np.nan
    widen = (rng.random((n, k)) < breaks).astype(float)
    widen[:, [0, -1]] = 0.0
    return times, radii, errors**2, widen


def hold_same(case, model):
    times, radii, variances, widen = case
    filtered = filter_trend(times, radii, variances, widen, model)
    smoothed = smooth_trend(times, widen, filtered, model)
    for row in range(len(times)):
        found = engine(times[row], radii[row], variances[row], widen[row], model).smooth()
        for ours, state, cov in (
            (filtered, found.filtered_state, found.filtered_state_cov),
            (smoothed, found.smoothed_state, found.smoothed_state_cov),
        ):
            assert np.abs(ours.level[row] - state[0]).max() <= SAME
            assert np.abs(ours.trend[row] - state[1]).max() <= SAME
            assert np.abs(ours.level_var[row] - cov[0, 0]).max() <= SAME
            assert np.abs(ours.cross[row] - cov[0, 1]).max() <= SAME
            assert np.abs(ours.trend_var[row] - cov[1, 1]).max() <= SAME
        assert filtered.log_likelihood[row] == pytest.approx(found.llf_obs[1:].sum(), abs=1e-7)


@pytest.mark.parametrize("model", [MODEL, LIVELY], ids=["packaged", "lively"])
@pytest.mark.parametrize("seed", range(3))
def test_weekly_lesions_are_statsmodels(seed, model):
    hold_same(lesions(seed, 20, 16), model)


@pytest.mark.parametrize("model", [MODEL, LIVELY], ids=["packaged", "lively"])
@pytest.mark.parametrize("seed", range(3))
def test_irregular_days_gaps_and_breaks_are_statsmodels(seed, model):
    hold_same(lesions(seed, 20, 24, regular=False, missing=0.3, breaks=0.15), model)


def runs(n, k=14):
    """Wounds of a simulated clinic as the program holds them: areas on dates."""
    rng = np.random.default_rng(4)
    first = date(2024, 3, 4)
    found = []
    for _ in range(n):
        days = np.concatenate([[0], np.cumsum(rng.integers(5, 10, k - 1))])
        radius = np.maximum(rng.uniform(5, 12) - rng.uniform(0.01, 0.06) * days + rng.normal(0, 0.3, k), 1.0)
        areas = (
            Area(first + timedelta(days=int(d)), float(np.pi * r * r))
            for d, r in zip(days, radius, strict=True)
        )
        found.append(Run(tuple(areas)))
    return found


def arrays(run):
    return (
        np.array(run.days, dtype=float),
        np.array([a.radius for a in run.areas]),
        np.array([radius_error(a) ** 2 for a in run.areas]),
        np.zeros(len(run.areas)),
    )


def test_a_thousand_forecasts_rest_on_the_state_of_statsmodels(capsys):
    """Radius, trend and their variances of the forecast's filter, from areas and dates on; and the time of
    both.

    The forecast does more than the filter (courses that turn, a law of the closing date over 52 weeks);
    statsmodels' side is one filter per lesion, with and without the making of its matrices.
    """
    wounds = runs(1000)
    member = trend_member([(run, ()) for run in wounds], np.array([0.0, 56.0]))
    engines = [engine(*arrays(run), MODEL) for run in wounds]
    for row, one in enumerate(engines):
        found = one.filter()
        state, cov = found.filtered_state[:, -1], found.filtered_state_cov[:, :, -1]
        assert member.level[row] == pytest.approx(state[0], abs=SAME)
        assert member.trend[row] == pytest.approx(state[1], abs=SAME)
        assert member.level_var[row] == pytest.approx(cov[0, 0], abs=SAME)
        assert member.trend_var[row] == pytest.approx(cov[1, 1], abs=SAME)
    columns = [np.stack(column) for column in zip(*map(arrays, wounds), strict=True)]
    ours = seconds(lambda: filter_trend(*columns, MODEL))
    whole = seconds(lambda: forecast_many([(run, ()) for run in wounds]))
    theirs = seconds(lambda: [one.filter() for one in engines])
    made = seconds(lambda: [engine(*arrays(run), MODEL).filter() for run in wounds])
    with capsys.disabled():
        print(
            f"\nFilter of 1,000 lesions of 14 areas: {1e3 * ours:.1f} ms in one call, statsmodels "
            f"{1e3 * theirs:.0f} ms one by one, ratio {theirs / ours:.0f} a lesion (goal 20). From areas "
            f"to closing dates: {1e3 * whole:.0f} ms, statsmodels to the filtered state {1e3 * made:.0f} ms, "
            f"ratio {made / whole:.1f}"
        )
    assert theirs / ours >= 20


def test_a_thousand_curves_are_statsmodels_and_faster(capsys):
    case = lesions(9, 1000, 14)
    hold_same(tuple(part[:50] for part in case), MODEL)

    def both():
        return smooth_trend(case[0], case[3], filter_trend(*case, MODEL), MODEL)

    engines = [engine(*(part[row] for part in case), MODEL) for row in range(1000)]
    ours, theirs = seconds(both), seconds(lambda: [one.smooth() for one in engines], 2)
    with capsys.disabled():
        print(
            f"\nFilter and smoother of 1,000 lesions of 14 areas: {1e3 * ours:.1f} ms, statsmodels "
            f"{1e3 * theirs:.0f} ms, ratio {theirs / ours:.0f} a lesion (goal 20)"
        )
    assert theirs / ours >= 20
