"""How far a share may lie from the whole by chance alone, for its number of cases."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from clinic.healing.proportion import ProportionError

__all__ = ["Place", "funnel_limits", "placed"]

LEVELS = (0.95, 0.998)


@dataclass(frozen=True, slots=True)
class Place:
    """Where one share lies.

    Parameters
    ----------
    inside_95, inside_998 : bool
        Whether it lies within the limits of 95 % and 99.8 %.
    above : bool
        Whether it lies above the whole.
    """

    inside_95: bool
    inside_998: bool
    above: bool


def funnel_limits(
    share: float, of: ArrayLike, level: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Limits that a share of so many cases leaves by chance only as seldom as the level says.

    Parameters
    ----------
    share : float
        Share of the whole, 0 to 1. [-]
    of : array_like of int
        Numbers of cases, each at least 1. [-]
    level : float
        Coverage, above 0 and below 1. [-]

    Returns
    -------
    low, high : ndarray
        Limits, 0 to 1. [-]

    Raises
    ------
    ProportionError
        If the share, a number of cases or the level is out of bounds.

    Notes
    -----
    Exact binomial limits, interpolated between counts: with r the smallest count whose P(R ≤ r) reaches the
    tail a, the limit is (r − (P(R ≤ r) − a) / P(R = r)) / n, kept within 0 and 1. Both tails alike.

    References
    ----------
    Spiegelhalter DJ. Funnel plots for comparing institutional performance. Stat Med 2005;24:1185-1202 (the
    interpolation from memory; a test holds its coverage).

    Examples
    --------
    >>> from clinic.healing.funnel import funnel_limits
    >>> low, high = funnel_limits(0.6, of=[10, 40], level=0.95)
    >>> low.round(2).tolist(), high.round(2).tolist()
    ([0.23, 0.43], [0.85, 0.74])
    """
    if not 0.0 <= share <= 1.0:
        raise ProportionError(f"share: {share:g} is not from 0 to 1")
    if not 0.0 < level < 1.0:
        raise ProportionError(f"level: {level:g} is not between 0 and 1")
    n = np.asarray(of, dtype=float)
    if n.size and n.min() < 1:
        raise ProportionError(f"of: {n.min():g} cases, at least 1 needed")
    from scipy.stats import binom  # slow to import: only a process that counts pays for it

    def at(tail: float) -> NDArray[np.float64]:
        # Beyond this every case is alike as far as doubles can tell.
        if min(share, 1.0 - share) < 1e-12:
            return np.full(n.shape, round(share))
        r = binom.ppf(tail, n, share)
        over = (binom.cdf(r, n, share) - tail) / binom.pmf(r, n, share)
        return np.clip((r - over) / n, 0.0, 1.0)

    return at((1.0 - level) / 2.0), at((1.0 + level) / 2.0)


def placed(counts: Sequence[tuple[int, int]], share: float) -> tuple[Place, ...]:
    """Where each share lies against the limits round the whole.

    Parameters
    ----------
    counts : sequence of (count, of)
        Cases with the property, and cases, at least 1. [-]
    share : float
        Share of the whole, 0 to 1. [-]

    Returns
    -------
    tuple of Place

    Raises
    ------
    ProportionError
        As `funnel_limits`, or where a count is not from 0 to its number of cases.
    """
    for count, of in counts:
        if not 0 <= count <= of:
            raise ProportionError(f"count: {count} is not from 0 to {of}")
    if not counts:
        return ()
    cases = np.array([of for _, of in counts], dtype=float)
    own = np.array([count for count, _ in counts]) / np.maximum(cases, 1.0)
    inside = []
    for level in LEVELS:
        low, high = funnel_limits(share, cases, level)
        inside.append((low - 1e-12 <= own) & (own <= high + 1e-12))
    return tuple(
        Place(bool(near), bool(far), bool(part > share)) for near, far, part in zip(*inside, own, strict=True)
    )
