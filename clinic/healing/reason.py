"""A reason of a verdict, and the words its figures are told in."""

import math
from dataclasses import dataclass
from datetime import date

__all__ = ["Reason", "chance_words", "cm2", "day_words", "smaller", "span_words"]


@dataclass(frozen=True, slots=True)
class Reason:
    """One sentence and the source of the limit in it (None for a plain fact)."""

    text: str
    source: str | None = None
    #: Whether it tells the chance of closure, which a page tells once.
    chance: bool = False

    @property
    def sentence(self) -> str:
        """The text with its source in brackets."""
        return self.text if self.source is None else f"{self.text} [{self.source}]"


def cm2(area: float) -> str:
    """Area in cm² with two digits, from [mm²]."""
    return f"{area / 100.0:.2f}"


def day_words(day: date) -> str:
    """The day as every page shows it: "29 Nov 2026"."""
    return f"{day.day} {day:%b %Y}"


def smaller(percent: float) -> str:
    """A reduction in words, from [%]."""
    # Rounded toward the worse side: 49.6 % under a limit of 50 must not read "50 % smaller, under 50 %".
    return f"{math.floor(percent)} % smaller" if percent >= 0 else f"{math.ceil(-percent)} % larger"


def chance_words(chance: float) -> str:
    """A chance in words of a screen: whole percent, never "0 %" or "100 %", which would claim certainty."""
    if chance < 0.01:
        return "under 1 %"
    return "over 99 %" if chance > 0.99 else f"{math.floor(chance * 100.0)} %"


def span_words(days: int) -> str:
    """Days in words: whole weeks where they are."""
    return f"{days // 7} weeks" if days % 7 == 0 else f"{days} days"
