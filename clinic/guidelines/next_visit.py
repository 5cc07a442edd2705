"""Which days a person is offered for the next visit, from what is open and what is on the foot."""

from __future__ import annotations

from calendar import monthrange
from dataclasses import dataclass
from datetime import date, timedelta

__all__ = ["NextOffer", "next_offers", "offered_day"]

#: An infected or newly sealed foot is seen in 2 or 3 days, an ulcer weekly, a quiet one every second week
#: (common practice, no source). [d]
_DAYS = (2, 3, 7, 14)
#: Where the risk category is not known, the interval of the highest one. [months]
_HIGHEST = (1, 3)
_OPENING = "open"


@dataclass(frozen=True)
class NextOffer:
    """One day that can be chosen with one touch.

    Parameters
    ----------
    key : str
        "7" for days, "m3" for months, "open" for the day a sealed device must be opened by.
    words : str
    beyond : bool
        Later than that day, so that it can be chosen only once the device is open.
    """

    key: str
    words: str
    beyond: bool = False


def next_offers(
    visited_on: date,
    *,
    open_lesions: bool,
    open_by: date | None = None,
    months: tuple[int, int] | None = None,
) -> tuple[NextOffer, ...]:
    """The days offered after a visit.

    Parameters
    ----------
    visited_on : date
    open_lesions : bool
        Days for an open lesion, months for a person in remission.
    open_by : date or None
        The earliest day by which a sealed device must be opened.
    months : (int, int) or None
        Shortest and longest interval of the risk category; None where it is not known: then 1 to 3.

    Returns
    -------
    tuple of NextOffer
        The opening day stands after the last offer before it.

    Examples
    --------
    >>> [one.words for one in next_offers(date(2026, 3, 2), open_lesions=False, months=(3, 6))]
    ['3 months', '4 months', '6 months']
    """
    if not open_lesions:
        low, high = months or _HIGHEST
        spread = sorted({low, (low + high) // 2, high})
        return tuple(NextOffer(f"m{n}", f"{n} month{'s' if n > 1 else ''}") for n in spread)
    offers = [
        NextOffer(str(n), f"{n} days", open_by is not None and visited_on + timedelta(days=n) > open_by)
        for n in _DAYS
    ]
    if open_by is not None and open_by > visited_on:
        before = sum(not one.beyond for one in offers)
        offers.insert(before, NextOffer(_OPENING, f"day to open by, {open_by:%-d %b}"))
    return tuple(offers)


def offered_day(key: str, visited_on: date, open_by: date | None = None) -> date | None:
    """The day an offer means; None for a key that is none.

    Parameters
    ----------
    key : str
        See `NextOffer`.
    visited_on : date
    open_by : date or None

    Returns
    -------
    date or None

    Examples
    --------
    >>> offered_day("m1", date(2026, 1, 31))
    datetime.date(2026, 2, 28)
    """
    if key == _OPENING:
        return open_by
    digits = key.removeprefix("m")
    if not digits.isdigit():
        return None
    if key == digits:
        return visited_on + timedelta(days=int(digits))
    year, month = divmod(visited_on.year * 12 + visited_on.month - 1 + int(digits), 12)
    return date(year, month + 1, min(visited_on.day, monthrange(year, month + 1)[1]))
