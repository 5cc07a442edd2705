"""A clinic's own chances and intervals: what was said of its closed courses, against what they did.

Put together in ``own.py``; both are off below ``LEAST_CLOSED`` closed courses: a straight line through the
logits of the chances, drawn towards "as said" where outcomes are few, and the quantiles between which its
own closings fell. Each is made on a day from outcomes known by then and carries that day and a version; what
was shown before is never computed again.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray
from scipy.special import expit, logit

from clinic.healing.errors import SeriesError
from clinic.healing.forecast import Forecast

__all__ = [
    "LEAST_CLOSED",
    "LOT",
    "TARGET",
    "VERSION",
    "WINDOW",
    "CalibrationLine",
    "Past",
    "Tails",
    "adapted",
    "line_of",
    "tails_of",
]

Floats = NDArray[np.float64]

LEAST_CLOSED = 30
"""Closed courses below which a clinic's own figures are not used; design choice. [-]"""

VERSION = "1"
"""Of the method; rises with any change of it, so that what was shown can be told apart."""

WINDOW = 56
"""Days of the chance that the line is drawn through: closing within 8 weeks. [d]"""

_LEVEL_SPREAD, _SLOPE_SPREAD = 1.0, 0.35
"""How far a clinic's line may lie from "as said" before its outcomes are known, standard deviations of
intercept and slope; design choices. They count like a few dozen outcomes."""

_EDGE = 1e-4
TARGET = 0.10
_HALVING = 730.0  # days after which an outcome counts half, so that a clinic may change; design choice
LOT = 10
_STEP = 0.02  # of the tails after each outcome; design choice


@dataclass(frozen=True, slots=True)
class Past:
    """One forecast and what is known of it now.

    Parameters
    ----------
    said : Forecast
        As of a visit then, from nothing later.
    closed : float or None
        Days from its last area to closing; None while open.
    known : float
        Days after its last area to which the state is known; for a closed one at least ``closed``.
    on : datetime.date
        Day on which this became known.
    span : float
        Days from the first area to the last one of then.
    ended : bool
        Whether it ended otherwise: then it never closes.

    Raises
    ------
    SeriesError
        If days are not numbers of 0 or more, or it closed after the day it is known to.
    """

    said: Forecast
    closed: float | None
    known: float
    on: date
    span: float = 0.0
    ended: bool = False

    def __post_init__(self) -> None:
        for name, value in (("closed", self.closed), ("known", self.known), ("span", self.span)):
            if value is not None and not (math.isfinite(value) and value >= 0):
                raise SeriesError(f"{name}: {value:g} days is not a number of 0 or more")
        if self.closed is not None and self.closed > self.known:
            raise SeriesError(f"closed: {self.closed:g} days is after the last known day, {self.known:g}")

    def came_within(self, days: float) -> bool | None:
        """Whether it closed within so many days of its last area; None while that is not known."""
        if self.closed is not None:
            return self.closed <= days
        return False if self.ended or self.known >= days else None


@dataclass(frozen=True, slots=True)
class CalibrationLine:
    """Chance recalibrated: logit of the new one is ``level`` + ``slope`` × logit of the old one."""

    level: float
    slope: float
    n: int

    def of(self, chance: float) -> float:
        """Recalibrated chance; 0 and 1 stay, since they are facts. [-]"""
        if chance <= 0.0 or chance >= 1.0:
            return chance
        return float(expit(self.level + self.slope * logit(min(max(chance, _EDGE), 1.0 - _EDGE))))


@dataclass(frozen=True, slots=True)
class Tails:
    """Chances of the forecast between which eight in ten of a clinic's closings fell.

    Parameters
    ----------
    low, high : float
        The two chances, for courses whose forecast reaches ``high`` within 52 weeks; ``high`` is 1 where too
        few closings reach that far.
    low_open : float
        Early end for the other courses, whose late end stays open.
    n, closed : int
        Courses and closings they rest on.
    """

    low: float
    high: float
    low_open: float
    n: int
    closed: int

    def of(self, said: Forecast) -> tuple[date | None, date | None]:
        """Dates of the interval; None where it is not reached within 52 weeks."""
        late = said.day_of(self.high)
        return said.day_of(self.low_open if late is None else self.low), late


def line_of(said: Sequence[float], happened: Sequence[bool]) -> CalibrationLine:
    """Line through the logits of chances, by penalised likelihood.

    Parameters
    ----------
    said : sequence of float
        Chances told. [-]
    happened : sequence of bool
        Whether it came, in the same order.

    Returns
    -------
    CalibrationLine
        With no outcome, the line that changes nothing.

    Raises
    ------
    SeriesError
        If the two differ in length or a chance is not from 0 to 1.

    Notes
    -----
    Cox's calibration line [1]_ with normal priors around intercept 0 and slope 1, so few outcomes move it
    little; Newton's method on a strictly concave function.

    References
    ----------
    .. [1] Cox DR, Biometrika 1958;45:562-565.
    """
    if len(said) != len(happened):
        raise SeriesError(f"happened: {len(happened)} outcomes for {len(said)} chances")
    chances = np.array(said, dtype=float)
    if chances.size and not (chances.min() >= 0.0 and chances.max() <= 1.0):
        raise SeriesError("said: a chance is not from 0 to 1")
    marks = np.array(happened, dtype=float)
    x = logit(np.clip(chances, _EDGE, 1.0 - _EDGE))
    columns = np.stack([np.ones(x.size), x], axis=1)
    centre = np.array([0.0, 1.0])
    weight = np.diag([_LEVEL_SPREAD**-2, _SLOPE_SPREAD**-2])
    found = centre.copy()
    for _ in range(50):
        fitted = expit(columns @ found)
        slope = columns.T @ (marks - fitted) - weight @ (found - centre)
        bend = (columns * (fitted * (1.0 - fitted))[:, None]).T @ columns + weight
        step = np.linalg.solve(bend, slope)
        found = found + np.clip(step, -1.0, 1.0)
        if np.abs(step).max() < 1e-10:
            break
    return CalibrationLine(float(found[0]), float(max(found[1], 0.0)), int(x.size))


def tails_of(pasts: Sequence[Past], today: date, low: float = TARGET, high: float = 1.0 - TARGET) -> Tails:
    """Quantiles of a clinic's closings on the scale of what was said.

    Parameters
    ----------
    pasts : sequence of Past
        Closed and open alike.
    today : datetime.date
        Older outcomes count less from here.
    low, high : float
        Shares of closings below the two ends; moved by ``adapted`` where past intervals missed too often. [-]

    Returns
    -------
    Tails
        ``low`` and ``high`` are sought among courses whose forecast reaches ``high`` within 52 weeks, for
        only there is it a date, and wounds that do well enough to have one close earlier on this scale as
        well.

    Notes
    -----
    Conformal prediction: the score of a course is the chance said for the day it closed. Open courses are
    censored at the chance of the last known day, so quantiles are those of the product-limit estimate over
    the scores, with weights that halve every two years and one more course of weight one that is never
    reached, which stands for the next one [1]_ [2]_.

    References
    ----------
    .. [1] Tibshirani RJ et al., Conformal prediction under covariate shift, 2019 (from memory).
    .. [2] Candès E, Lei L, Ren Z, Conformalized survival analysis, J R Stat Soc B 2023;85:24-45 (from
    memory).
    """
    scores, events, reach, weights = _scores(pasts, today)
    lower = _quantile(scores, events, weights, low)
    upper, among = lower, lower
    # Courses that cannot reach the end leave, which may move it; it only rises, so this ends.
    while upper < 1.0:
        on = reach >= upper
        among = _quantile(scores[on], events[on], weights[on], low)
        asked = _quantile(scores[on], events[on], weights[on], high)
        if asked <= upper:
            break
        upper = asked
    return Tails(min(among, upper), upper, lower, len(pasts), int(events.sum()))


def _scores(pasts: Sequence[Past], today: date) -> tuple[Floats, NDArray[np.bool_], Floats, Floats]:
    scores, events, reach, weights = [], [], [], []
    for past in pasts:
        horizon = 7.0 * (len(past.said.weeks) - 1)
        closed = past.closed is not None and past.closed <= horizon
        scores.append(past.said.chance_by(past.closed if closed and past.closed is not None else past.known))
        events.append(closed)
        reach.append(past.said.weeks[-1])
        weights.append(0.5 ** (max((today - past.on).days, 0) / _HALVING))
    return np.array(scores), np.array(events, dtype=bool), np.array(reach), np.array(weights)


def _quantile(scores: Floats, events: NDArray[np.bool_], weights: Floats, share: float) -> float:
    """Score below which that share closes, interpolated between closings; 1 where they do not reach that
    far."""
    order = np.lexsort((~events, scores))
    at_risk = 1.0 + np.cumsum(weights[order][::-1])[::-1]
    closings = events[order]
    reached = 1.0 - np.cumprod(1.0 - weights[order][closings] / at_risk[closings])
    places = scores[order][closings]
    if reached.size == 0 or reached[-1] < share:
        return 1.0
    return float(np.interp(share, np.concatenate([[0.0], reached]), np.concatenate([[0.0], places])))


def adapted(target: float, missed: Sequence[bool], step: float = _STEP) -> float:
    """Tail to ask for, after the misses of intervals already told, in order of their outcomes.

    Parameters
    ----------
    target : float
        Share that shall be missed at this end. [-]
    missed : sequence of bool
        Whether each closing lay beyond this end of what was told.
    step : float
        Move after each outcome.

    Returns
    -------
    float
        Narrower after hits, wider after misses, from 0.01 to 0.3. [-]

    Notes
    -----
    α ← α + γ (target − missed): in the long run the share missed is the target, whatever changes [1]_.

    References
    ----------
    .. [1] Gibbs I, Candès E, Adaptive conformal inference under distribution shift, 2021 (from memory).
    """
    tail = target
    for one in missed:
        tail = min(max(tail + step * (target - float(one)), 0.01), 0.3)
    return tail
