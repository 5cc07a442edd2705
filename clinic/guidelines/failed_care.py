"""Has good care without surgery failed? Read from verdict and non-healing review, never ticked."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Literal

from clinic.guidelines.standing_state import spoken

__all__ = ["CARE_DAYS", "NOT_HEALING", "CareReview", "CareStanding", "Outcome", "care_standing"]

Outcome = Literal["", "changed", "failed", "other"]

#: Verdicts that open a non-healing review.
NOT_HEALING = frozenset({"slow", "stalled", "worsening"})
#: For so long an ulcer must have been in care, and have read so, before care can have failed: the published
#: mark of four weeks (Sheehan 2003, Diabetes Care 26:1879), taken as a least time by design choice. [d]
CARE_DAYS = 28
RULE = "design choice; least time from the 4-week mark, Sheehan 2003, Diabetes Care 26:1879"


@dataclass(frozen=True)
class CareReview:
    """The newest non-healing review of one ulcer.

    Parameters
    ----------
    opened_on : datetime.date
    outcome : {"", "changed", "failed", "other"}
        Empty while it is under way.
    outcome_on : datetime.date or None
    items_due : int
        Items that somebody still has to do.
    """

    opened_on: date
    outcome: Outcome = ""
    outcome_on: date | None = None
    items_due: int = 0


@dataclass(frozen=True)
class CareStanding:
    """Whether good care without surgery has failed, and why it reads so.

    Parameters
    ----------
    failed : bool or None
        None is not known: a review is owed first.
    because : str
    source : str
    """

    failed: bool | None
    because: str
    source: str = RULE


def care_standing(
    kind: str, words: str, since: date | None, first_seen_on: date, review: CareReview | None, today: date
) -> CareStanding:
    """Whether good care without surgery has failed.

    Parameters
    ----------
    kind : str
        Key of the verdict: slow, stalled, worsening, too_early, on_course, to_confirm, healed, or
        not_measured.
    words : str
        The verdict as the screens say it.
    since : datetime.date or None
        From when on every verdict read slow, stalled or worsening; None where it does not.
    first_seen_on : datetime.date
        When the ulcer came into care here.
    review : CareReview or None
        The newest.
    today : datetime.date

    Returns
    -------
    CareStanding

    Notes
    -----
    It has failed when the verdict still reads slow, stalled or worsening, the ulcer has been in care for four
    weeks, and the review that was opened while it read so ends in "failed" with nothing left to do. It has
    not while the ulcer heals, is too young, or the review changed the care. Otherwise it is not known.

    Examples
    --------
    >>> from datetime import date
    >>> day = date(2026, 1, 1)
    >>> care_standing("on_course", "on track", None, day, None, date(2026, 5, 1)).failed
    False
    >>> care_standing("stalled", "stalled", date(2026, 3, 1), day, None, date(2026, 5, 3)).because
    'stalled, 9 weeks; no non-healing review yet'
    """
    if (today - first_seen_on).days < CARE_DAYS:
        return CareStanding(False, f"in care for {_span(first_seen_on, today)}: too early to say")
    if kind == "not_measured":
        return CareStanding(None, "no area measured")
    if kind not in NOT_HEALING:
        return CareStanding(False, words)
    read = f"{words}, {_span(since, today)}" if since is not None else words
    if review is None or (since is not None and review.opened_on < since):
        return CareStanding(None, f"{read}; no non-healing review yet")
    on = spoken(review.outcome_on or review.opened_on)
    if review.outcome == "failed" and not review.items_due:
        return CareStanding(True, f"{read}; non-healing review of {on}: good care has failed")
    if review.items_due:
        left = f"{review.items_due} item{'' if review.items_due == 1 else 's'} due"
        return CareStanding(None, f"{read}; non-healing review of {spoken(review.opened_on)}: {left}")
    if review.outcome in ("changed", "other"):
        said_words = "care was changed" if review.outcome == "changed" else "another goal of care"
        return CareStanding(False, f"{read}; non-healing review of {on}: {said_words}")
    return CareStanding(None, f"{read}; non-healing review of {on} is not decided yet")


def _span(since: date, today: date) -> str:
    days = (today - since).days
    if days < 14:
        return f"{days} day{'' if days == 1 else 's'}"
    return f"{days // 7} weeks"
