"""How far two readers agree beyond what chance alone would give."""

from collections import Counter
from collections.abc import Hashable, Sequence
from dataclasses import dataclass

from clinic.healing.errors import HealingError
from clinic.healing.proportion import wilson

__all__ = ["Kappa", "KappaError", "cohen_kappa"]


class KappaError(HealingError):
    """Readings that no agreement can be told from."""


@dataclass(frozen=True, slots=True)
class Kappa:
    """Agreement of two readers.

    Parameters
    ----------
    n, same : int
        Cases read by both, and those read alike. [-]
    expected : float
        Share alike by chance. [-]
    kappa : float or None
        Chance-corrected agreement; None where both gave one and the same answer throughout. [-]
    low, high : float or None
        Its 95 % interval, None where it is. [-]
    """

    n: int
    same: int
    expected: float
    kappa: float | None
    low: float | None = None
    high: float | None = None

    @property
    def observed(self) -> float:
        """Share read alike. [-]"""
        return self.same / self.n


def cohen_kappa(first: Sequence[Hashable], second: Sequence[Hashable]) -> Kappa:
    """Unweighted kappa of two readers of the same cases.

    Parameters
    ----------
    first, second : sequence of hashable
        Their answers, case by case.

    Returns
    -------
    Kappa

    Raises
    ------
    KappaError
        If there is no case or the counts differ.

    Notes
    -----
    The interval is Wilson's of the share read alike, carried through the formula with pₑ held as it is
    (design choice): with few cases, all of them read alike, it still has a width.

    κ = (pₒ − pₑ) / (1 − pₑ), with pₒ the share read alike and pₑ = Σ p₁ₖ p₂ₖ over the answers.

    References
    ----------
    Cohen J. A coefficient of agreement for nominal scales. Educ Psychol Meas 1960;20:37-46.

    Examples
    --------
    >>> from clinic.healing.kappa import cohen_kappa
    >>> found = cohen_kappa(['agree', 'agree', 'depart', 'agree'], ['agree', 'depart', 'depart', 'agree'])
    >>> found.observed, found.kappa
    (0.75, 0.5)
    """
    n = len(first)
    if n == 0:
        raise KappaError("first: 0 readings, at least 1 needed")
    if len(second) != n:
        raise KappaError(
            f"second: {len(second)} readings for {n} of the first reader, the counts must be equal"
        )
    same = sum(a == b for a, b in zip(first, second, strict=True))
    one, two = Counter(first), Counter(second)
    expected = sum(one[answer] * two[answer] for answer in one) / n**2
    if expected >= 1.0:
        return Kappa(n, same, expected, None)
    share = wilson(same, n)
    kappa, low, high = ((p - expected) / (1.0 - expected) for p in (same / n, share.low, share.high))
    return Kappa(n, same, expected, kappa, max(low, -1.0), min(high, 1.0))
