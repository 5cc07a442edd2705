import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from clinic.healing.errors import SeriesError
from clinic.healing.trend import TrendModel, filter_trend, smooth_trend

MODEL = TrendModel(
    level_noise=0.01, trend_noise=1e-4, start_trend=-0.05, start_spread=0.06, break_spread=0.08
)


def gaussian_reference(times, radii, variances, widen):
    """The same model as one joint normal law of all states, solved as one linear system: no recursion.

    Unknowns (r, v) at each time; equations: first observation (sets the level), trend prior, one pair per
    step with its covariance, one per further observation. Returns posterior means and covariances.
    """
    count = len(times)
    information = np.zeros((2 * count, 2 * count))
    target = np.zeros(2 * count)

    def add(rows, value, covariance):
        weight = np.linalg.inv(np.atleast_2d(covariance))
        nonlocal information, target
        information += rows.T @ weight @ rows
        target += rows.T @ weight @ np.atleast_1d(value)

    pick = np.eye(2 * count)
    add(pick[[1]], MODEL.start_trend, MODEL.start_spread**2)
    for k in range(count):
        if not np.isnan(radii[k]):
            add(pick[[2 * k]], radii[k], variances[k])
        if k:
            d = times[k] - times[k - 1]
            move = np.array([[1.0, d], [0.0, 1.0]])
            a, b = MODEL.level_noise, MODEL.trend_noise
            noise = np.array([[a * d + b * d**3 / 3, b * d**2 / 2], [b * d**2 / 2, b * d]])
            noise += move @ np.diag([0.0, widen[k - 1] * MODEL.break_spread**2]) @ move.T
            rows = pick[[2 * k, 2 * k + 1]] - move @ pick[[2 * k - 2, 2 * k - 1]]
            add(rows, np.zeros(2), noise)
    covariance = np.linalg.inv(information)
    return (covariance @ target).reshape(count, 2), covariance


@settings(max_examples=40)
@given(
    st.lists(
        st.tuples(st.integers(1, 20), st.floats(0.5, 20), st.booleans(), st.booleans()),
        min_size=2,
        max_size=8,
    )
)
def test_filter_and_smoother_equal_one_joint_linear_system(rows):
    times = np.cumsum([0, *(r[0] for r in rows[1:])]).astype(float)
    radii = np.array([r[1] if i == 0 or r[2] else np.nan for i, r in enumerate(rows)])
    variances = np.maximum(0.05 * np.nan_to_num(radii, nan=1.0), 0.5) ** 2
    widen = np.array([float(r[3]) for r in rows])
    filtered = filter_trend(times[None], radii[None], variances[None], widen[None], MODEL)
    smoothed = smooth_trend(times[None], widen[None], filtered, MODEL)
    mean, covariance = gaussian_reference(times, radii, variances, widen)
    assert smoothed.level[0] == pytest.approx(mean[:, 0], rel=1e-7, abs=1e-7)
    assert smoothed.trend[0] == pytest.approx(mean[:, 1], rel=1e-6, abs=1e-8)
    assert smoothed.level_var[0] == pytest.approx(np.diag(covariance)[0::2], rel=1e-6, abs=1e-9)
    assert smoothed.trend_var[0] == pytest.approx(np.diag(covariance)[1::2], rel=1e-6, abs=1e-9)
    # At the last time filter and smoother know the same.
    assert filtered.level[0, -1] == smoothed.level[0, -1]


def test_the_likelihood_is_that_of_the_joint_normal_law_of_the_differences():
    # Two times: given the first, the second is normal with mean r₁ + d·v₀ and the variance written out below.
    times, radii, variances = np.array([[0.0, 7.0]]), np.array([[8.0, 7.0]]), np.array([[0.25, 0.16]])
    spread = 0.25 + 49 * MODEL.start_spread**2 + 7 * MODEL.level_noise + MODEL.trend_noise * 343 / 3 + 0.16
    gap = 7.0 - (8.0 + 7 * MODEL.start_trend)
    expected = -0.5 * (np.log(2 * np.pi * spread) + gap**2 / spread)
    found = filter_trend(times, radii, variances, np.zeros((1, 2)), MODEL).log_likelihood[0]
    assert found == pytest.approx(expected, rel=1e-12)


def test_padding_a_short_series_changes_nothing():
    times, radii = np.array([[0.0, 7.0, 14.0]]), np.array([[8.0, 7.5, 7.2]])
    variances, widen = np.full((1, 3), 0.25), np.zeros((1, 3))
    plain = filter_trend(times, radii, variances, widen, MODEL)
    padded = filter_trend(
        np.array([[0.0, 7.0, 14.0, 14.0, 14.0]]),
        np.array([[8.0, 7.5, 7.2, np.nan, np.nan]]),
        np.full((1, 5), 0.25),
        np.zeros((1, 5)),
        MODEL,
    )
    assert padded.level[0, -1] == plain.level[0, -1]
    assert padded.trend_var[0, -1] == plain.trend_var[0, -1]
    smooth_plain = smooth_trend(times, widen, plain, MODEL)
    smooth_padded = smooth_trend(np.array([[0.0, 7.0, 14.0, 14.0, 14.0]]), np.zeros((1, 5)), padded, MODEL)
    assert smooth_padded.level[0, :3] == pytest.approx(smooth_plain.level[0], rel=1e-12)


def test_ten_years_of_daily_areas_stay_sound():
    times = np.arange(3650.0)[None]
    radii = np.full((1, 3650), 5.0)
    filtered = filter_trend(times, radii, np.full((1, 3650), 0.25), np.zeros((1, 3650)), MODEL)
    smoothed = smooth_trend(times, np.zeros((1, 3650)), filtered, MODEL)
    for part in (filtered.level_var, filtered.trend_var, smoothed.level_var, smoothed.trend_var):
        assert (part > 0).all()
    assert np.isfinite(smoothed.level).all()
    assert (smoothed.level_var <= filtered.level_var + 1e-12).all()


def test_times_that_fall_and_a_missing_first_area_are_refused():
    ones = np.ones((1, 2))
    with pytest.raises(SeriesError, match="times"):
        filter_trend(np.array([[7.0, 0.0]]), ones, ones, ones, MODEL)
    with pytest.raises(SeriesError, match="radii"):
        filter_trend(np.array([[0.0, 7.0]]), np.array([[np.nan, 1.0]]), ones, ones, MODEL)


@pytest.mark.parametrize("name", ["level_noise", "trend_noise", "start_spread", "break_spread"])
def test_a_negative_constant_is_refused(name):
    constants = {
        "level_noise": 0.1,
        "trend_noise": 0.1,
        "start_trend": 0.0,
        "start_spread": 0.1,
        "break_spread": 0.1,
    }
    with pytest.raises(SeriesError, match=name):
        TrendModel(**{**constants, name: -1.0})
