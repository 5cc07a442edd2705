"""How chances of this size have fared: no chance is shown without it, and none that says next to nothing."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import log2

from clinic.healing.errors import SeriesError
from clinic.healing.reason import chance_words

__all__ = [
    "LEAST_INFORMATION",
    "LEAST_OWN",
    "SIMULATED",
    "Fared",
    "OwnCounts",
    "can_be_told",
    "chance_sentence",
    "chance_told",
    "counted",
    "fared",
    "information",
]

LEAST_OWN = 20
"""Own outcomes in a tenth of the chances before they replace the simulated count; design choice. [-]"""

LEAST_INFORMATION = 0.05
"""Information of a chance below which it is not told; design choice: a chance from 37 to 63 % says less than
a twentieth of what a plain yes or no would. [bit]"""

SIMULATED = {
    8: (3.0, 12.7, 18.4, 26.4, 35.8, 45.6, 58.9, 74.2, 85.9, 95.1),
    12: (2.4, 13.1, 19.7, 27.0, 35.6, 45.0, 61.9, 73.9, 88.6, 95.0),
    20: (3.8, 14.5, 25.3, 30.8, 37.8, 43.4, 54.4, 66.2, 83.2, 94.7),
}
"""Of 100 invented wounds told a chance in each tenth, how many closed: within 8 weeks of the last area, by
12 and by 20 weeks from the first. Five unlike kinds of course, 900 of each, looked at in six weeks
(``tests/clinic/healing/validation/judging.py``; a test computes it anew). [%]"""


@dataclass(frozen=True, slots=True)
class OwnCounts:
    """A clinic's own outcomes by tenth of the chance, each as (closed, of).

    Parameters
    ----------
    within_8, by_12, by_20 : tuple of (int, int)
        For each kind of chance of ``SIMULATED``; ten pairs, or none.

    Raises
    ------
    SeriesError
        If a kind has neither ten pairs nor none, or more closed than there were.
    """

    within_8: tuple[tuple[int, int], ...] = ()
    by_12: tuple[tuple[int, int], ...] = ()
    by_20: tuple[tuple[int, int], ...] = ()

    def __post_init__(self) -> None:
        for name in ("within_8", "by_12", "by_20"):
            pairs = getattr(self, name)
            if len(pairs) not in (0, 10):
                raise SeriesError(f"{name}: {len(pairs)} tenths given, 10 or none needed")
            if any(not 0 <= closed <= of for closed, of in pairs):
                raise SeriesError(f"{name}: more closed than there were")

    def of(self, weeks: int) -> tuple[tuple[int, int], ...]:
        """Pairs of one kind."""
        return {8: self.within_8, 12: self.by_12, 20: self.by_20}[weeks]


@dataclass(frozen=True, slots=True)
class Fared:
    """What became of those told about as much.

    Parameters
    ----------
    closed, of : int
        How many of how many closed.
    is_own : bool
        Whether these are the clinic's own outcomes; else 100 simulated ones.
    """

    closed: int
    of: int
    is_own: bool


def information(chance: float) -> float:
    """What a chance tells beyond even odds: 1 bit less the entropy of it.

    Parameters
    ----------
    chance : float
        From 0 to 1. [-]

    Returns
    -------
    float
        From 0 (even odds) to 1 (certain). [bit]

    Raises
    ------
    SeriesError
        If the chance is not from 0 to 1.
    """
    if not 0.0 <= chance <= 1.0:
        raise SeriesError(f"chance: {chance:g} is not from 0 to 1")
    return 1.0 + sum(p * log2(p) for p in (chance, 1.0 - chance) if p > 0.0)


def can_be_told(chance: float) -> bool:
    """Whether a chance carries at least ``LEAST_INFORMATION``."""
    return information(chance) >= LEAST_INFORMATION


def counted(outcomes: Sequence[tuple[float, bool]]) -> tuple[tuple[int, int], ...]:
    """Outcomes by tenth of the chance.

    Parameters
    ----------
    outcomes : sequence of (float, bool)
        Chances of one kind as they were told, and whether the wound closed in time; only known outcomes.

    Returns
    -------
    tuple of (int, int)
        Ten pairs of closed and of how many.

    Raises
    ------
    SeriesError
        If a chance is not from 0 to 1.
    """
    pairs = [[0, 0] for _ in range(10)]
    for chance, came in outcomes:
        if not 0.0 <= chance <= 1.0:
            raise SeriesError(f"chance: {chance:g} is not from 0 to 1")
        pair = pairs[_tenth(chance)]
        pair[0] += int(came)
        pair[1] += 1
    return tuple((closed, of) for closed, of in pairs)


def fared(chance: float, own: OwnCounts | None = None, weeks: int = 8) -> Fared:
    """How chances of the same tenth have fared.

    Parameters
    ----------
    chance : float
        Chance told. [-]
    own : OwnCounts or None
        The clinic's own outcomes.
    weeks : int
        Kind of chance, a key of ``SIMULATED``.

    Returns
    -------
    Fared
        Own where ``LEAST_OWN`` outcomes lie in the tenth, else simulated.

    Raises
    ------
    SeriesError
        If the chance is not from 0 to 1, or the weeks are none of the kinds.
    """
    if not 0.0 <= chance <= 1.0:
        raise SeriesError(f"chance: {chance:g} is not from 0 to 1")
    if weeks not in SIMULATED:
        raise SeriesError(f"weeks: {weeks} given, the kinds are {', '.join(map(str, SIMULATED))}")
    tenth = _tenth(chance)
    pairs = own.of(weeks) if own is not None else ()
    if pairs and pairs[tenth][1] >= LEAST_OWN:
        return Fared(*pairs[tenth], True)
    return Fared(round(SIMULATED[weeks][tenth]), 100, False)


def chance_told(chance: float, own: OwnCounts | None = None, weeks: int = 8) -> str:
    """A chance as screens tell it, without saying of what.

    Parameters
    ----------
    chance, own, weeks
        As for ``fared``.

    Returns
    -------
    str
        The chance, or "cannot be told yet" where it says too little, and how such chances have fared.
    """
    record = fared(chance, own, weeks)
    low = _tenth(chance) * 10
    words = chance_words(chance) if can_be_told(chance) else "cannot be told yet"
    if record.is_own:
        return f"{words} (of {record.of} told {low} to {low + 10} % here, {record.closed} closed)"
    return f"{words} (of {record.of} told {low} to {low + 10} %, {record.closed} closed: simulated)"


def chance_sentence(chance: float, own: OwnCounts | None = None) -> str:
    """``chance_told`` of closing within 8 weeks of the last area, as a sentence."""
    return f"Closure within 8 weeks: {chance_told(chance, own)}."


def _tenth(chance: float) -> int:
    return min(int(chance * 10.0), 9)
