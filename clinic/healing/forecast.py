"""When a wound may close: smoothed radius, and the distribution of the closing date."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from scipy.special import ndtr

from clinic.healing.progress import area_error
from clinic.healing.series import Area, Run, equivalent_perimeter
from clinic.healing.trend import Floats, TrendModel, filter_trend, smooth_trend

__all__ = [
    "HORIZON",
    "MODEL",
    "CurvePoint",
    "Forecast",
    "closing_probability",
    "forecast",
    "forecast_many",
    "radius_error",
]

HORIZON = 364
"""Days after the last area beyond which a closing date is not named. [d]"""

MODEL = TrendModel(
    level_noise=0.008,
    trend_noise=8e-6,
    start_trend=-0.045,
    start_spread=0.05,
    break_spread=0.05,
)
"""Constants chosen on a seeded simulated cohort whose assumptions stand with it in the tests, for the Brier score of
both chances and both tails of the 80 % interval at weeks 2, 4, 6 and 8; a break makes the trend as uncertain as it
was at the start. Three richer models were tried on it and left out. Two models weighed by likelihood (healing and
stalled) gained 2 % of Brier score and lost about half of the finite intervals. A stall that may begin any day (0.3 % a
day, 60 days long) gained 1, 3 and 2 % at weeks 2, 4 and 6, but its length and frequency would be assumptions without
a source, and the share closed before the low end rose by 1 to 3 points. Noise of the trend falling from week 4 to week
8 named 6 to 16 points more late ends by week 8, and its Brier score was 3 to 5 % worse there."""

_LEAST_AREAS = 3
_NAMED_FROM = 5
_TAIL = 0.10
_BAND = 1.2815515655446004  # standard normal quantile of 0.90: an 80 % band
_CURVE_STEP = 2
_FAN_STEP = 7


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
class Forecast:
    """Closing of one wound as seen from its last area.

    Parameters
    ----------
    n : int
        Areas it rests on.
    median, low, high : datetime.date or None
        Closing dates reached with chance 50, 10 and 90 %; None when not within 52 weeks of the last area.
    chance_12w, chance_20w : float
        Chance of being closed 12 and 20 weeks after the first area; 0 when that day is past and the wound was
        open on it or later. [-]
    chance_next_8w : float
        Chance of closing within 8 weeks after the last area. [-]
    radius, radius_error : float
        Filtered radius on the last day and its standard deviation. [mm]
    trend, trend_error : float
        Its trend, negative when closing, and standard deviation. [mm/week]
    curve : tuple of CurvePoint
        Smoothed radius from first to last area.
    fan : tuple of CurvePoint
        Predicted radius from the last area, weekly, to the late closing date or the horizon.
    """

    n: int
    median: date | None
    low: date | None
    high: date | None
    chance_12w: float
    chance_20w: float
    chance_next_8w: float
    radius: float
    radius_error: float
    trend: float
    trend_error: float
    curve: tuple[CurvePoint, ...] = ()
    fan: tuple[CurvePoint, ...] = ()

    @property
    def names_date(self) -> bool:
        """Whether a screen may name a date: from the fifth area on, before that only the chances.

        Prediction from fewer than five weekly areas missed the closing date (Cukjati 2001, Med Biol Eng Comput
        39:263-271).
        """
        return self.n >= _NAMED_FROM


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
    """Chance that the radius has reached 0 by each day, given that it is above 0 on day 0.

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
    Φ(−m(u)/σ(u)), which is a lower bound of the chance that the path has touched 0, and near it because a
    radius that has crossed 0 with a falling trend stays below. Then (F − F(0))/(1 − F(0)), since the wound is
    open on day 0. No random numbers.
    """
    mean = level[:, None] + trend[:, None] * days
    spread = _spread(covariance, days, model, breaks_ahead)
    reached = np.maximum.accumulate(ndtr(-mean / np.sqrt(spread)), axis=1)
    now = ndtr(-level / np.sqrt(np.maximum(covariance[0], 1e-12)))[:, None]
    return np.clip((reached - now) / np.maximum(1.0 - now, 1e-12), 0.0, 1.0)


def forecast(run: Run, breaks: Iterable[date] = (), model: TrendModel = MODEL) -> Forecast | None:
    """Forecast of one wound, with the smoothed curve and the fan of a chart.

    Parameters
    ----------
    run : Run
        Areas of one kind, from ``last_run``.
    breaks : iterable of datetime.date
        Days on which device, plan, debridement policy or perfusion changed; on the day of an area the change
        counts as after it.
    model : TrendModel
        Constants.

    Returns
    -------
    Forecast or None
        None under 3 areas, or when the last area is 0.
    """
    return forecast_many([(run, tuple(breaks))], model, curves=True)[0]


def forecast_many(
    wounds: Sequence[tuple[Run, Sequence[date]]],
    model: TrendModel = MODEL,
    curves: bool = False,
) -> tuple[Forecast | None, ...]:
    """Forecasts of many wounds in one pass of the filter.

    Parameters
    ----------
    wounds : sequence of (Run, breaks)
        As for ``forecast``.
    model : TrendModel
        Constants.
    curves : bool
        Whether to compute the smoothed curve and the fan as well.

    Returns
    -------
    tuple of Forecast or None
        In the order given.
    """
    able = [i for i, (run, _) in enumerate(wounds) if len(run.areas) >= _LEAST_AREAS and run.last.area > 0]
    answers: list[Forecast | None] = [None] * len(wounds)
    if not able:
        return tuple(answers)
    chosen = [wounds[i] for i in able]
    times, radii, variances, widen = _arrays(chosen, curves)
    filtered = filter_trend(times, radii, variances, widen, model)
    smoothed = smooth_trend(times, widen, filtered, model) if curves else None
    level, trend = filtered.level[:, -1], filtered.trend[:, -1]
    covariance = (filtered.level_var[:, -1], filtered.cross[:, -1], filtered.trend_var[:, -1])
    ahead = [
        sorted(float((day - run.last.day).days) for day in set(breaks) if day >= run.last.day)
        for run, breaks in chosen
    ]
    days = np.arange(HORIZON + 1, dtype=float)
    reached = closing_probability(level, trend, covariance, days, model, ahead)
    for row, index in enumerate(able):
        run = chosen[row][0]
        law = reached[row]
        low, median, high = (_date_reached(run, law, share) for share in (_TAIL, 0.5, 1.0 - _TAIL))
        curve: tuple[CurvePoint, ...] = ()
        fan: tuple[CurvePoint, ...] = ()
        if smoothed is not None:
            curve = _curve(run, times[row], smoothed.level[row], smoothed.level_var[row])
            own = (covariance[0][row : row + 1], covariance[1][row : row + 1], covariance[2][row : row + 1])
            fan = _fan(run, float(level[row]), float(trend[row]), own, ahead[row], high, model)
        answers[index] = Forecast(
            n=len(run.areas),
            median=median,
            low=low,
            high=high,
            chance_12w=_chance(law, 84 - run.span),
            chance_20w=_chance(law, 140 - run.span),
            chance_next_8w=_chance(law, 56),
            radius=float(level[row]),
            radius_error=float(np.sqrt(covariance[0][row])),
            trend=float(trend[row]) * 7.0,
            trend_error=float(np.sqrt(covariance[2][row])) * 7.0,
            curve=curve,
            fan=fan,
        )
    return tuple(answers)


def _spread(
    covariance: tuple[Floats, Floats, Floats],
    days: Floats,
    model: TrendModel,
    breaks_ahead: Sequence[Sequence[float]],
) -> Floats:
    """Variance of the predicted radius, (N, D). [mm²]"""
    p11, p12, p22 = (part[:, None] for part in covariance)
    spread: Floats = (
        p11 + 2.0 * days * p12 + days**2 * p22 + model.level_noise * days + model.trend_noise * days**3 / 3
    )
    for row, ahead in enumerate(breaks_ahead):
        for day in ahead:
            spread[row] += model.break_spread**2 * np.maximum(days - day, 0.0) ** 2
    return np.maximum(spread, 1e-12)


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


def _date_reached(run: Run, law: Floats, share: float) -> date | None:
    reached = np.flatnonzero(law >= share)
    return None if reached.size == 0 else run.last.day + timedelta(days=int(reached[0]))


def _chance(law: Floats, day: int) -> float:
    return 0.0 if day <= 0 else float(law[min(day, HORIZON)])


def _curve(run: Run, times: Floats, level: Floats, level_var: Floats) -> tuple[CurvePoint, ...]:
    points: dict[int, CurvePoint] = {}
    for time, radius, variance in zip(times, level, level_var, strict=True):
        day = run.first.day + timedelta(days=int(time))
        points.setdefault(int(time), CurvePoint(day, float(radius), float(np.sqrt(variance))))
    return tuple(points.values())


def _fan(
    run: Run,
    level: float,
    trend: float,
    covariance: tuple[Floats, Floats, Floats],
    ahead: Sequence[float],
    high: date | None,
    model: TrendModel,
) -> tuple[CurvePoint, ...]:
    end = HORIZON if high is None else (high - run.last.day).days
    days = sorted({*range(0, end, _FAN_STEP), end})
    spread = _spread(covariance, np.array(days, dtype=float), model, [ahead])[0]
    return tuple(
        CurvePoint(run.last.day + timedelta(days=s), float(level + trend * s), float(np.sqrt(variance)))
        for s, variance in zip(days, spread, strict=True)
    )
