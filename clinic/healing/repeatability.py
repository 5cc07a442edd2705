"""How well the same wound is measured again: within one observer, and between observers."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from scipy.special import stdtrit

from clinic.healing.errors import SeriesError

__all__ = ["LEAST_PAIRS", "Agreement", "Pair", "Repeat", "agreement", "pairs_between", "pairs_within"]

LEAST_PAIRS = 20
"""Pairs before a clinic's own error replaces the design choice in the forecast; design choice, see Notes of
``agreement``."""


@dataclass(frozen=True)
class Repeat:
    """One area of one picture by one observer. [mm²]"""

    subject: int
    observer: int
    area: float

    def __post_init__(self) -> None:
        if not (math.isfinite(self.area) and self.area > 0):
            raise SeriesError(f"area of a repeat: {self.area:g} mm² given; the limit is above 0")


@dataclass(frozen=True)
class Pair:
    """Two areas of one picture. [mm²]"""

    first: float
    second: float


@dataclass(frozen=True)
class Agreement:
    """Differences between two measurements of the same thing.

    Parameters
    ----------
    n : int
        Pairs.
    bias, low, high : float
        Mean difference second − first, and the 95 % limits of agreement, in per cent of the pair's mean. [%]
    bias_interval, low_interval, high_interval : (float, float)
        95 % confidence intervals of these three. [%]
    variation : float
        Coefficient of variation of one measurement. [%]
    is_enough : bool
        Whether the pairs suffice to speak of an error of this clinic.
    """

    n: int
    bias: float
    low: float
    high: float
    bias_interval: tuple[float, float]
    low_interval: tuple[float, float]
    high_interval: tuple[float, float]
    variation: float
    is_enough: bool


def pairs_within(repeats: Sequence[Repeat]) -> list[Pair]:
    """First and second area by the same observer on the same picture, in the order given."""
    found: dict[tuple[int, int], list[float]] = {}
    for one in repeats:
        found.setdefault((one.subject, one.observer), []).append(one.area)
    return [Pair(areas[0], areas[1]) for areas in found.values() if len(areas) >= 2]


def pairs_between(repeats: Sequence[Repeat]) -> list[Pair]:
    """First areas of the first two observers of each picture."""
    found: dict[int, dict[int, float]] = {}
    for one in repeats:
        found.setdefault(one.subject, {}).setdefault(one.observer, one.area)
    return [Pair(*list(by_observer.values())[:2]) for by_observer in found.values() if len(by_observer) >= 2]


def agreement(pairs: Sequence[Pair]) -> Agreement | None:
    """Bland–Altman limits of agreement and the coefficient of variation.

    Parameters
    ----------
    pairs : sequence of Pair

    Returns
    -------
    Agreement or None
        None under two pairs.

    Notes
    -----
    Differences are taken in per cent of the mean of a pair, since the error of an area grows with it [1]_:
    limits = mean ± 1.96·s; their standard error is s·√(1/n + 1.96²/(2(n − 1))), Student's t with n − 1
    degrees of freedom [2]_. The coefficient of variation of one measurement is √(Σ d²/2n), d as a share of
    the pair's mean [3]_. From 20 pairs on, the limits are known to about ± 0.76 of s; below, a clinic's own
    error is shown and not used.

    References
    ----------
    .. [1] Bland JM, Altman DG. Lancet 1986;327:307-310.
    .. [2] Bland JM, Altman DG. Stat Methods Med Res 1999;8:135-160.
    .. [3] Dahlberg G. Statistical methods for medical and biological students. 1940 (from memory).

    Examples
    --------
    >>> from clinic.healing.repeatability import Pair, agreement
    >>> found = agreement([Pair(120, 126), Pair(80, 78), Pair(200, 204)])  # the same wounds traced twice, mm²
    >>> round(found.bias, 1), round(found.variation, 1), found.is_enough
    (1.4, 2.4, False)
    """
    n = len(pairs)
    if n < 2:
        return None
    shares = [200.0 * (pair.second - pair.first) / (pair.first + pair.second) for pair in pairs]
    bias = sum(shares) / n
    spread = math.sqrt(sum((share - bias) ** 2 for share in shares) / (n - 1))
    t = float(stdtrit(n - 1, 0.975))
    reach = t * spread / math.sqrt(n)
    limit_reach = t * spread * math.sqrt(1.0 / n + 1.96**2 / (2.0 * (n - 1)))
    low, high = bias - 1.96 * spread, bias + 1.96 * spread
    return Agreement(
        n=n,
        bias=bias,
        low=low,
        high=high,
        bias_interval=(bias - reach, bias + reach),
        low_interval=(low - limit_reach, low + limit_reach),
        high_interval=(high - limit_reach, high + limit_reach),
        variation=math.sqrt(sum(share * share for share in shares) / (2.0 * n)),
        is_enough=n >= LEAST_PAIRS,
    )
