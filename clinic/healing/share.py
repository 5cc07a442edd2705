"""A share of counted cases with its interval: no percentage stands without its count."""

import math
from dataclasses import dataclass

from scipy.special import ndtri

from clinic.healing.errors import SurvivalError

__all__ = ["Share", "share_of"]


@dataclass(frozen=True, slots=True)
class Share:
    """``count`` of ``total``, and the interval of the share. [-]"""

    count: int
    total: int
    share: float
    low: float
    high: float


def share_of(count: int, total: int, confidence: float = 0.95) -> Share | None:
    """Share with its Wilson score interval.

    Parameters
    ----------
    count, total : int
        Cases that count, and all cases.
    confidence : float
        Two-sided coverage, between 0 and 1. [-]

    Returns
    -------
    Share or None
        None when there is no case.

    Raises
    ------
    SurvivalError
        If the count is not from 0 to the total, or the confidence not between 0 and 1.

    Notes
    -----
    (p + z²/2n ± z·√(p(1 − p)/n + z²/4n²)) / (1 + z²/n) [1]_: stays inside 0 to 1 and works for few cases.

    References
    ----------
    .. [1] Wilson EB, J Am Stat Assoc 1927;22:209-212.
    """
    if not 0 <= count <= total:
        raise SurvivalError(f"count: {count} is not from 0 to the total, {total}")
    if not 0.0 < confidence < 1.0:
        raise SurvivalError(f"confidence: {confidence:g} is not between 0 and 1")
    if total == 0:
        return None
    z = float(ndtri(0.5 + confidence / 2.0))
    p = count / total
    middle = p + z**2 / (2.0 * total)
    reach = z * math.sqrt(p * (1.0 - p) / total + z**2 / (4.0 * total**2))
    scale = 1.0 + z**2 / total
    # At 0 and all the bound is exact; rounding must not push it outside.
    low = 0.0 if count == 0 else (middle - reach) / scale
    high = 1.0 if count == total else (middle + reach) / scale
    return Share(count, total, p, low, high)
