"""The radius to come, week by week, as the average of the courses sees it: for the fan of a chart."""

from datetime import date, timedelta

import numpy as np
from scipy.special import ndtr

from clinic.healing.bank import Bank, move
from clinic.healing.closing import WEEKS
from clinic.healing.trend import Floats
from clinic.healing.trend_member import CurvePoint

__all__ = ["fan_of"]

_TAIL = 0.10
_BAND = 1.2815515655446004  # standard normal quantile of 0.90
_RADII = np.concatenate([np.arange(-5.0, 20.0, 0.2), np.geomspace(20.0, 400.0, 40)])  # mm
_WEEKLY = 84  # days ahead up to which a point stands each week, then each fourth: a fan is smooth there


def fan_of(banks: tuple[Bank, ...], last: date, high: date | None) -> tuple[CurvePoint, ...]:
    """Predicted radius from the last area to the late closing date, or for a year.

    Parameters
    ----------
    banks : tuple of Bank
        Of one wound.
    last : datetime.date
        Day of the last area.
    high : datetime.date or None
        Late closing date.

    Returns
    -------
    tuple of CurvePoint
        Each week, from week 12 each fourth, and on the last day; the band of a point runs from the 10 % to
        the 90 % quantile of the radius, so its middle is the mean of the two.
    """
    end = 7 * WEEKS if high is None else (high - last).days
    days = sorted({*range(0, min(end, _WEEKLY), 7), *range(_WEEKLY, end, 28), end})
    points = []
    parts = [(bank.shape, bank.weight, bank.level, bank.variance) for bank in banks]
    before = 0
    for day in days:
        if day > before:
            parts = [(shape, *move(shape, w, m, v, 2 * (day - before))) for shape, w, m, v in parts]
        before = day
        below = np.zeros(_RADII.size)
        for shape, weight, level, variance in parts:
            below += _share_below(shape.is_share, *_without_agitation(weight[0], level[0], variance[0]))
        low, upper = np.interp((_TAIL, 1.0 - _TAIL), below, _RADII)
        middle, error = (low + upper) / 2.0, (upper - low) / (2.0 * _BAND)
        points.append(CurvePoint(last + timedelta(days=day), float(middle), float(error)))
    return tuple(points)


def _without_agitation(weight: Floats, level: Floats, variance: Floats) -> tuple[Floats, Floats, Floats]:
    """Members of one pace merged by mean and variance, (K,) each."""
    whole = weight.sum(axis=0)
    safe = np.maximum(whole, 1e-300)
    mean = (weight * level).sum(axis=0) / safe
    return whole, mean, (weight * (variance + (level - mean) ** 2)).sum(axis=0) / safe


def _share_below(is_share: bool, weight: Floats, level: Floats, variance: Floats) -> Floats:
    at = np.log(np.maximum(_RADII, 1e-6)) if is_share else _RADII
    chances: Floats = ndtr((at[:, None] - level) / np.sqrt(variance))
    return chances @ weight
