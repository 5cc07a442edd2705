"""A share of cases with the interval its small numbers deserve."""

from dataclasses import dataclass

from clinic.healing.errors import HealingError

__all__ = ["Proportion", "ProportionError", "wilson"]


class ProportionError(HealingError):
    """A count, a number of cases or a level that no share can have."""


@dataclass(frozen=True, slots=True)
class Proportion:
    """A share with its Wilson score interval.

    Parameters
    ----------
    count : int
        Cases with the property. [-]
    of : int
        Cases judged. [-]
    low, high : float
        Ends of the interval, from 0 to 1. [-]
    level : float
        Level of the interval. [-]
    """

    count: int
    of: int
    low: float
    high: float
    level: float

    @property
    def share(self) -> float:
        """Count over cases, from 0 to 1. [-]"""
        return self.count / self.of


def wilson(count: int, of: int, level: float = 0.95) -> Proportion:
    """Share of cases with the Wilson score interval, without continuity correction.

    Parameters
    ----------
    count : int
        Cases with the property, 0 to `of`. [-]
    of : int
        Cases judged, at least 1. [-]
    level : float
        Level of the interval, above 0 and below 1. [-]

    Returns
    -------
    Proportion

    Raises
    ------
    ProportionError
        If the count is not from 0 to the number of cases, there is no case, or the level is out of bounds.

    Notes
    -----
    The ends solve ``|p̂ − p| = z √(p(1 − p)/n)`` for p:
    ``(p̂ + z²/2n ± z √(p̂(1 − p̂)/n + z²/4n²)) / (1 + z²/n)``. Unlike the interval round p̂ they never leave
    0 to 1, and they are of use at 0 or all of few cases. Cases of one person count as independent.

    References
    ----------
    Wilson EB. Probable inference, the law of succession, and statistical inference. J Am Stat Assoc
    1927;22(158):209-212.

    Examples
    --------
    >>> from clinic.healing.proportion import wilson
    >>> share = wilson(9, of=12)
    >>> share.share, round(share.low, 2), round(share.high, 2)
    (0.75, 0.47, 0.91)
    """
    if of < 1:
        raise ProportionError(f"of: {of} cases, at least 1 needed")
    if not 0 <= count <= of:
        raise ProportionError(f"count: {count} is not from 0 to {of}")
    if not 0.0 < level < 1.0:
        raise ProportionError(f"level: {level:g} is not between 0 and 1")
    from scipy import stats  # slow to import: only a process that counts pays for it

    found = stats.binomtest(count, of).proportion_ci(level, method="wilson")
    return Proportion(count=count, of=of, low=float(found.low), high=float(found.high), level=level)
