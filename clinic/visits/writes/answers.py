"""Rules that the answers of one visit obey among themselves. The form holds what was typed against the
same ones.
"""

from __future__ import annotations

from datetime import date, time
from decimal import Decimal

from clinic.models import Attendance, Wear
from clinic.record.dates import day_words
from clinic.record.errors import Refused

__all__ = ["missed_check", "next_details_check", "next_given_check", "why_not_worn_check", "weighed_check"]


def why_not_worn_check(*, wear: str, why_not_worn: str) -> None:
    """Few or no steps in the device need the reason."""
    if wear in (Wear.FEW, Wear.NONE) and not why_not_worn.strip():
        raise Refused(
            "Why not worn: missing; it is asked when few or no steps were in the device.",
            field="why_not_worn",
        )


def weighed_check(*, weight_kg: Decimal | None, weight_how: str) -> None:
    """A weight is a figure and how it was found."""
    if (weight_kg is None) != (not weight_how):
        field = "weight_kg" if weight_kg is None else "weight_how"
        raise Refused("Weight: both the kilograms and how it was weighed are needed.", field=field)


def next_given_check(*, next_on: date | None, no_next_because: str, needed: bool) -> None:
    """Nobody leaves without a next date, or without why there is none."""
    if next_on is not None and no_next_because.strip():
        raise Refused(
            f"Next visit: {day_words(next_on)} is given and also why there is none; keep one.",
            field="no_next_because",
        )
    if needed and next_on is None and not no_next_because.strip():
        raise Refused("Next visit: no date given; choose one, or say why there is none.", field="next_on")


def next_details_check(*, next_on: date | None, next_at: time | None, transport: str) -> None:
    """A time or a transport note belongs to a next date."""
    if next_on is None and (next_at is not None or transport.strip()):
        raise Refused("Time or transport: given without a next date.", field="next_on")


def missed_check(*, attendance: str) -> None:
    """A visit that did not take place has one of the causes of the list."""
    if attendance not in Attendance.values or attendance == Attendance.CAME:
        raise Refused(f"What happened: {attendance or 'nothing'} is not one of the list.", field="attendance")
