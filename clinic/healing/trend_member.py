"""The trend filter as one member of the forecast: its law of the closing date, and the smoothed curve of a
chart."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from scipy.special import ndtr

from clinic.healing.progress import area_error
from clinic.healing.series import Area, Run, equivalent_perimeter
from clinic.healing.trend import Filtered, Floats, TrendModel, filter_trend, smooth_trend
from clinic.healing.turning import CLOSED_RADIUS

__all__ = ["MODEL", "CurvePoint", "TrendMember", "closing_probability", "radius_error", "trend_member"]

MODEL = TrendModel(
    level_noise=0.008,
    trend_noise=8e-6,
    start_trend=-0.045,
    start_spread=0.05,
    break_spread=0.05,
)
"""Constants chosen on a seeded simulated cohort whose assumptions stand with it in the tests; a break makes
the trend as uncertain as it was at the start."""

_BAND = 1.2815515655446004  # standard normal quantile of 0.90: an 80 % band
_CURVE_STEP = 2


@dataclass(frozen=True, slots=True)
class CurvePoint:
    """Radius on one day with its standard deviation.

    Parameters
    ----------
    day : datetime.date
        Day.
    radius, error : float
        Equivalent radius and its standard deviation. [mm]
    """

    day: date
    radius: float
    error: float

    @property
    def area(self) -> float:
        """Area of the circle of this radius, 0 for a negative one. [mm²]"""
        return float(np.pi * max(0.0, self.radius) ** 2)

    @property
    def band(self) -> tuple[float, float]:
        """Areas of the 80 % band of the radius. [mm²]"""
        low, high = self.radius - _BAND * self.error, self.radius + _BAND * self.error
        return float(np.pi * max(0.0, low) ** 2), float(np.pi * max(0.0, high) ** 2)


@dataclass(frozen=True, slots=True)
class TrendMember:
    """What the filter says of many wounds.

    Parameters
    ----------
    log_likelihood : (N,) ndarray
        Of the radii after the first. [-]
    law : (N, D) ndarray
        Chance of having closed by each day asked. [-]
    level, level_var, trend, trend_var : (N,) ndarray
        Radius and trend on the last day with their variances. [mm, mm², mm/d, mm²/d²]
    curves : tuple of tuple of CurvePoint
        Smoothed radius from first to last area; empty where not asked.
    """

    log_likelihood: Floats
    law: Floats
    level: Floats
    level_var: Floats
    trend: Floats
    trend_var: Floats
    curves: tuple[tuple[CurvePoint, ...], ...]


def radius_error(area: Area) -> float:
    """Standard deviation of the equivalent radius from that of the area, dA = 2πr·dr. [mm]"""
    if area.area == 0:
        return 0.5  # the least uncertainty of a margin; the formula below has no limit at 0 for other reasons
    return area_error(area.area, area.method, area.perimeter, area.share) / equivalent_perimeter(area.area)


def closing_probability(
    level: Floats,
    trend: Floats,
    covariance: tuple[Floats, Floats, Floats],
    days: Floats,
    model: TrendModel = MODEL,
    breaks_ahead: Sequence[Sequence[float]] = (),
) -> Floats:
    """Chance that the radius has come down to that of a closed wound by each day, given that it is above it
    on day 0.

    Parameters
    ----------
    level, trend : (N,) ndarray
        Radius and trend on day 0. [mm, mm/d]
    covariance : three (N,) ndarray
        Variance of the radius, covariance, variance of the trend.
    days : (D,) ndarray
        Rising days, all ≥ 0. [d]
    model : TrendModel
        Constants.
    breaks_ahead : sequence of sequences of float
        Per lesion, days of breaks after day 0. [d]

    Returns
    -------
    (N, D) ndarray
        Probability, never falling along the days. [-]

    Notes
    -----
    First passage is approximated by the largest marginal chance so far: F(t) = max over u ≤ t of
    Φ((c − m(u))/σ(u)), c the closed radius, which is a lower bound of the chance that the path has touched
    it, and near it because a radius that has crossed it with a falling trend stays below. Then (F − F(0))/(1
    − F(0)), since the wound is open on day 0. No random numbers.
    """
    mean = level[:, None] - CLOSED_RADIUS + trend[:, None] * days
    p11, p12, p22 = (part[:, None] for part in covariance)
    spread = (
        p11 + 2.0 * days * p12 + days**2 * p22 + model.level_noise * days + model.trend_noise * days**3 / 3
    )
    for row, ahead in enumerate(breaks_ahead):
        for day in ahead:
            spread[row] += model.break_spread**2 * np.maximum(days - day, 0.0) ** 2
    spread = np.maximum(spread, 1e-12)
    reached = np.maximum.accumulate(ndtr(-mean / np.sqrt(spread)), axis=1)
    now = ndtr((CLOSED_RADIUS - level) / np.sqrt(np.maximum(covariance[0], 1e-12)))[:, None]
    return np.clip((reached - now) / np.maximum(1.0 - now, 1e-12), 0.0, 1.0)


def trend_member(
    wounds: Sequence[tuple[Run, Sequence[date]]],
    days: Floats,
    model: TrendModel = MODEL,
    curves: bool = False,
) -> TrendMember:
    """Filter many wounds in one pass.

    Parameters
    ----------
    wounds : sequence of (Run, breaks)
        Areas of one kind above 0, and days of changes of treatment; on the day of an area a change counts as
        after it.
    days : (D,) ndarray
        Days after the last area at which the law is asked. [d]
    model : TrendModel
        Constants.
    curves : bool
        Whether to smooth as well.

    Returns
    -------
    TrendMember
        In the order given.
    """
    times, radii, variances, widen = _arrays(wounds, curves)
    filtered = filter_trend(times, radii, variances, widen, model)
    level, trend = filtered.level[:, -1], filtered.trend[:, -1]
    covariance = (filtered.level_var[:, -1], filtered.cross[:, -1], filtered.trend_var[:, -1])
    ahead = [
        sorted(float((day - run.last.day).days) for day in set(breaks) if day >= run.last.day)
        for run, breaks in wounds
    ]
    law = closing_probability(level, trend, covariance, days, model, ahead)
    drawn: tuple[tuple[CurvePoint, ...], ...] = ((),) * len(wounds)
    if curves:
        drawn = _smoothed(wounds, times, widen, filtered, model)
    return TrendMember(filtered.log_likelihood, law, level, covariance[0], trend, covariance[2], drawn)


def _smoothed(
    wounds: Sequence[tuple[Run, Sequence[date]]],
    times: Floats,
    widen: Floats,
    filtered: Filtered,
    model: TrendModel,
) -> tuple[tuple[CurvePoint, ...], ...]:
    smoothed = smooth_trend(times, widen, filtered, model)
    return tuple(
        _curve(run, times[row], smoothed.level[row], smoothed.level_var[row])
        for row, (run, _) in enumerate(wounds)
    )


def _arrays(
    wounds: Sequence[tuple[Run, Sequence[date]]], curves: bool
) -> tuple[Floats, Floats, Floats, Floats]:
    """Times, radii, their variances and breaks, short lesions padded by their last time unobserved."""
    grids = []
    for run, breaks in wounds:
        inner = {(day - run.first.day).days for day in breaks}
        # A break on the first day adds nothing: the trend is not known yet anyway.
        inner = {day for day in inner if 0 < day < run.span}
        grid = set(run.days) | inner
        if curves:
            grid |= set(range(0, run.span, _CURVE_STEP))
        grids.append((sorted(grid), inner))
    width = max(len(days) for days, _ in grids)
    shape = (len(wounds), width)
    times, radii, variances, widen = np.zeros(shape), np.full(shape, np.nan), np.ones(shape), np.zeros(shape)
    for row, ((run, _), (days, inner)) in enumerate(zip(wounds, grids, strict=True)):
        times[row, : len(days)] = days
        times[row, len(days) :] = days[-1]
        place = {day: column for column, day in enumerate(days)}
        for day, area in zip(run.days, run.areas, strict=True):
            radii[row, place[day]] = area.radius
            variances[row, place[day]] = radius_error(area) ** 2
        for day in inner:
            widen[row, place[day]] = 1.0
    return times, radii, variances, widen


def _curve(run: Run, times: Floats, level: Floats, level_var: Floats) -> tuple[CurvePoint, ...]:
    points: dict[int, CurvePoint] = {}
    for time, radius, variance in zip(times, level, level_var, strict=True):
        day = run.first.day + timedelta(days=int(time))
        points.setdefault(int(time), CurvePoint(day, float(radius), float(np.sqrt(variance))))
    return tuple(points.values())
