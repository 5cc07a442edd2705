"""Has a wound that was closing stopped, or begun to grow? A test asked anew at each visit."""

import math
from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray

from clinic.healing.progress import RELATIVE_ERROR
from clinic.healing.series import Area, Run

__all__ = ["LIMIT", "Halt", "halt_of"]

Floats = NDArray[np.float64]

LIMIT = 3.0
"""Evidence from which a wound is told to have stopped. Chosen on the development set of ``alarms.py`` in the
tests, where the whole trade-off is drawn: at most one steadily healing wound in ten is ever told so, the
others sooner. [-]"""

_MARGIN = 0.15
"""Error of the radius that does not shrink with the wound; design choice. [mm]"""

_SCALE, _SCALE_WEIGHT = 1.2, 8.0
"""Before the course is known its areas are taken to scatter by 1.2 times the stated error, which counts like
eight areas; a clinic's own error is taken as it is. Design choices."""

_BACK = 8  # a stop is looked for among the last areas only, with two after it: one alone may be astray
_SLOWEST = 0.15 / 7.0
"""A radius that falls slower than this never began to close: neuro-ischaemic ulcers, the slowest published,
closed by 0.13 to 0.16 mm a week (Zimny 2002, J Diabetes Complications 16:327). [mm/d]"""

_DOUBT = 1.0  # standard errors by which the pace of all areas has to lie under it; design choice
_GROWTH = 4.0  # evidence by which growing has to fit better than standing still; design choice


@dataclass(frozen=True, slots=True)
class Halt:
    """The best course that stops, beside the best that goes on.

    Parameters
    ----------
    evidence : float
        How much better the areas fit a course that stopped or grows than one that goes on as it was: the
        fall of the weighted sum of squares over the variance learnt from the course; 0 where it fits no
        better. [-]
    since : datetime.date
        Area after which it stopped.
    grows : bool
        Whether growing since then fits clearly better than standing still.
    never_began : bool
        Whether all areas together fall slower than any healing wound.
    """

    evidence: float
    since: date
    grows: bool
    never_began: bool

    @property
    def is_told(self) -> bool:
        """Whether the evidence reaches ``LIMIT``."""
        return self.evidence >= LIMIT


def halt_of(run: Run) -> Halt | None:
    """Look for a stop in the last areas of a course.

    Parameters
    ----------
    run : Run
        Areas of one kind without a long gap, from ``recent``.

    Returns
    -------
    Halt or None
        None under three areas, or where an area is 0.

    Notes
    -----
    A generalised likelihood ratio: against one straight fall of the radius, and one fall by a constant
    share, stands a straight fall up to one of the areas and a level, or rising, radius from there (the first
    area included: never fell). The variance is pooled from what is left and the stated error, so a wound
    that scatters more is told later.
    """
    areas = run.areas
    if len(areas) < 3 or any(area.area == 0 for area in areas):
        return None
    days = np.array(run.days, dtype=float)
    radius = np.array([area.radius for area in areas])
    weight = 1.0 / np.array([_error(area) for area in areas])
    one = np.ones(days.size)
    straight, line = _left(np.stack([one, days], axis=1), radius, weight)
    shares, _ = _left(np.stack([one, days], axis=1), np.log(radius), weight * radius)
    goes_on = min(straight, shares)
    still, grows, since = math.inf, math.inf, 0
    best = math.inf
    for knee in range(max(0, days.size - _BACK), days.size - 2):
        level, growth = _stopped(knee, days, radius, weight)
        if min(level, growth) < best:
            best, since = min(level, growth), knee
        still, grows = min(still, level), min(grows, growth)
    prior = _SCALE if areas[-1].share is None else 1.0
    pooled = _SCALE_WEIGHT * prior**2 + min(best, goes_on)
    variance = pooled / (_SCALE_WEIGHT + days.size - 3)
    return Halt(
        evidence=max(0.0, (goes_on - best) / variance) if math.isfinite(best) else 0.0,
        since=areas[since].day,
        grows=(still - grows) / variance >= _GROWTH if math.isfinite(grows) else False,
        never_began=_never_began(days, weight, -float(line[1]), variance),
    )


def _never_began(days: Floats, weight: Floats, pace: float, variance: float) -> bool:
    square = weight**2
    apart = days - (square * days).sum() / square.sum()
    error = math.sqrt(variance / float((square * apart**2).sum()))
    return pace + _DOUBT * error <= _SLOWEST


def _error(area: Area) -> float:
    share = RELATIVE_ERROR[area.method] if area.share is None else area.share
    return math.hypot(0.5 * share * area.radius, _MARGIN)


def _stopped(knee: int, days: Floats, radius: Floats, weight: Floats) -> tuple[float, float]:
    """Squares left by a course that is level, and by one that rises, after one of its areas; infinite where
    it never fell."""
    one = np.ones(days.size)
    before, after = np.minimum(days, days[knee]), np.maximum(days - days[knee], 0.0)
    # Up to the second area a fall before the stop cannot be told from scatter.
    falls = knee > 1
    columns = [one, before] if knee > 0 else [one]
    level, found = _left(np.stack(columns, axis=1), radius, weight)
    if falls and found[1] > 0:
        level = math.inf
    columns = [one, before, after] if falls else [one, after]
    growth, found = _left(np.stack(columns, axis=1), radius, weight)
    if found[-1] <= 0 or (falls and found[1] >= 0):
        growth = math.inf
    return level, growth


def _left(columns: Floats, values: Floats, weight: Floats) -> tuple[float, Floats]:
    """Weighted squares left by the best straight combination of columns, and its coefficients."""
    scaled, target = columns * weight[:, None], values * weight
    found: Floats = np.linalg.lstsq(scaled, target, rcond=None)[0].astype(np.float64)
    return float(((scaled @ found - target) ** 2).sum()), found
