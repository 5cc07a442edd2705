"""Is it late, is it too old? Every such rule in whole days: visits, sealed devices, facts, plans, insoles.

Days are calendar days of the clinic, given as arguments; nothing here reads a clock. Limits in hours (red
flags, referrals) stand beside this in ``clocks``. What is late stays late on every later day until it is
done.
"""

from collections.abc import Iterable
from datetime import date, timedelta
from typing import Literal

__all__ = [
    "FOAM_DAYS",
    "NON_HEALING_DAYS",
    "PLAN_DAYS",
    "SEEN_DAYS",
    "CourseStanding",
    "DueStanding",
    "FactAge",
    "ResultStanding",
    "VisitStanding",
    "area_too_old",
    "back_on_review",
    "confirmable_from",
    "course_standing",
    "days_overdue",
    "due_standing",
    "fact_age",
    "foam_due",
    "non_healing_late",
    "oldest_fresh",
    "plan_look_due",
    "remission_due_on",
    "result_standing",
    "reopens_until",
    "sealed_past",
    "too_old",
    "visit_standing",
]

VisitStanding = Literal["overdue", "due", "coming", "later", "no_date", "not_awaited"]
FactAge = Literal["missing", "old", "fresh"]
DueStanding = Literal["coming", "due", "late"]
ResultStanding = Literal["requested", "due", "late", "arrived", "seen"]
CourseStanding = Literal["running", "ends", "past_end", "stopped"]

#: A visit this near is shown as coming (design choice). [d]
_COMING_DAYS = 7
#: Used where no finding says more: the interval of the highest risk category, seen every one to three months
#: (IWGDF prevention guideline 2023). [d]
_REMISSION_DAYS = 90
#: A lesion without an area for longer than two weekly visits is looked at again (design choice). [d]
_UNMEASURED_DAYS = 14
#: A lesion marked as seen comes back after this long at the latest (design choice). [d]
SEEN_DAYS = 14
#: An ulcer that does not heal has its non-healing review no older than this (design choice). [d]
NON_HEALING_DAYS = 14
#: A signed plan is given this long to work before a lesion that does not close asks for another look
#: (design choice). [d]
PLAN_DAYS = 28
#: Measured relief of insoles fell from 39 % when new to 32 % at 6 months and 20 % at 12 (81 people, Diabet
#: Med 2001, read second-hand), from which 6 months is taken as the day to renew. Another 43 people kept their
#: relief for 12 months (Paton, i-FAB 2010, read second-hand): the earlier day is the cautious one. [d]
FOAM_DAYS = 183


def days_overdue(next_on: date, today: date) -> int:
    """For how long an agreed day has been missed.

    Parameters
    ----------
    next_on : date
        The day agreed. It is kept until it ends.
    today : date

    Returns
    -------
    int
        Nothing up to and on the day itself, then one more each day. [d]
    """
    return max((today - next_on).days, 0)


def visit_standing(next_on: date | None, today: date, *, in_care: bool, open_lesions: bool) -> VisitStanding:
    """How the next visit of a person stands.

    Parameters
    ----------
    next_on : date or None
        The day agreed at the latest entry.
    today : date
    in_care : bool
        Nobody awaits a person who moved or died.
    open_lesions : bool
        With an open lesion a missing date is itself a fault; without one it is not. A date that was agreed
        and is past is overdue either way.

    Returns
    -------
    {"overdue", "due", "coming", "later", "no_date", "not_awaited"}
        `due` on the day itself, `coming` within the next 7 days.
    """
    if not in_care or (next_on is None and not open_lesions):
        return "not_awaited"
    if next_on is None:
        return "no_date"
    if days_overdue(next_on, today):
        return "overdue"
    if next_on <= today:
        return "due"
    return "coming" if next_on <= today + timedelta(days=_COMING_DAYS) else "later"


def remission_due_on(seen_on: date, interval_days: int) -> date:
    """The day a person in remission is due where none was agreed.

    Parameters
    ----------
    seen_on : date
        Last seen, or confirmed healed.
    interval_days : int
        Longest interval of the person's risk category; 0 where it is not known: then 90. [d]

    Returns
    -------
    date
    """
    return seen_on + timedelta(days=interval_days or _REMISSION_DAYS)


def sealed_past(open_by: date | None, day: date) -> bool:
    """Whether a device sealed until a day is, or was opened, past it.

    Parameters
    ----------
    open_by : date or None
        Last day on which it may be opened; None where nothing is sealed.
    day : date
        Today, or the day it was opened.

    Returns
    -------
    bool
        From the midnight that ends the day.
    """
    return open_by is not None and day > open_by


def oldest_fresh(limit_days: int, today: date) -> date:
    """The first day a fact may be from; what was found before is too old. For filters in the database.

    Parameters
    ----------
    limit_days : int
        For how long it may be relied on, mostly a house rule. [d]
    today : date

    Returns
    -------
    date
    """
    return today - timedelta(days=limit_days)


def too_old(found_on: date, limit_days: int, today: date) -> bool:
    """Whether a fact is older than its limit; exactly at the limit it still counts.

    Parameters
    ----------
    found_on : date
        The day it was measured, seen or told.
    limit_days : int
        See `oldest_fresh`. [d]
    today : date

    Returns
    -------
    bool
    """
    return found_on < oldest_fresh(limit_days, today)


def fact_age(found_on: date | None, limit_days: int, today: date) -> FactAge:
    """Whether a fact such as the body weight is there and recent enough.

    Parameters
    ----------
    found_on : date or None
        The day of the newest one; None where there is none.
    limit_days : int
        See `oldest_fresh`. [d]
    today : date

    Returns
    -------
    {"missing", "old", "fresh"}
    """
    if found_on is None:
        return "missing"
    return "old" if too_old(found_on, limit_days, today) else "fresh"


def area_too_old(measured_on: date, today: date) -> bool:
    """Whether the last area, or the first look where there is none, is too old to judge a course by.

    Parameters
    ----------
    measured_on, today : date

    Returns
    -------
    bool
        After more than 14 days (design choice).
    """
    return too_old(measured_on, _UNMEASURED_DAYS, today)


def back_on_review(seen_on: date) -> date:
    """The day on which a lesion set aside as seen is on the review list again.

    Parameters
    ----------
    seen_on : date

    Returns
    -------
    date
    """
    return seen_on + timedelta(days=SEEN_DAYS)


def non_healing_late(last_on: date | None, today: date) -> bool:
    """Whether an ulcer that does not heal is due for its non-healing review.

    Parameters
    ----------
    last_on : date or None
        When one was last opened; None for never, which is late at once.
    today : date

    Returns
    -------
    bool
    """
    return last_on is None or too_old(last_on, NON_HEALING_DAYS, today)


def due_standing(due_on: date, today: date) -> DueStanding:
    """How a thing that somebody owns stands to the day agreed for it.

    Parameters
    ----------
    due_on, today : date

    Returns
    -------
    {"coming", "due", "late"}
        `due` on the day itself, `late` from the next day on.
    """
    if days_overdue(due_on, today):
        return "late"
    return "due" if due_on <= today else "coming"


def result_standing(
    due_on: date, result_on: date | None, seen_on: date | None, today: date
) -> ResultStanding:
    """How far a requested test has come: requested, due, late, arrived and not seen, or seen.

    Parameters
    ----------
    due_on : date
        The day its result was expected on.
    result_on, seen_on : date or None
        When it arrived and when somebody saw it; None for not yet.
    today : date

    Returns
    -------
    {"requested", "due", "late", "arrived", "seen"}
        What has arrived is late no more; it waits for eyes.
    """
    if seen_on is not None:
        return "seen"
    if result_on is not None:
        return "arrived"
    standing = due_standing(due_on, today)
    return "requested" if standing == "coming" else standing


def course_standing(planned_end_on: date, stopped_on: date | None, today: date) -> CourseStanding:
    """How a course of treatment stands to its planned end.

    Parameters
    ----------
    planned_end_on : date
        Its last day as planned.
    stopped_on : date or None
    today : date

    Returns
    -------
    {"running", "ends", "past_end", "stopped"}
        `ends` on the planned last day, `past_end` from the next day until it is stopped or prolonged.
    """
    if stopped_on is not None:
        return "stopped"
    standing = due_standing(planned_end_on, today)
    return {"coming": "running", "due": "ends", "late": "past_end"}[standing]  # type: ignore[return-value]


def plan_look_due(signed_on: date, today: date) -> bool:
    """Whether a relief plan has had its time to work, from the 28th day on (design choice).

    Parameters
    ----------
    signed_on, today : date

    Returns
    -------
    bool
    """
    return today >= signed_on + timedelta(days=PLAN_DAYS)


def foam_due(renewed: Iterable[date], today: date) -> date | None:
    """The day the insole in use is from, if it is due for renewal.

    Parameters
    ----------
    renewed : iterable of date
        Days on which an insole was made or replaced.
    today : date

    Returns
    -------
    date or None
        None while it is not due, or where no insole is known.

    References
    ----------
    See `FOAM_DAYS`.
    """
    newest = max(renewed, default=None)
    return newest if newest is not None and today >= newest + timedelta(days=FOAM_DAYS) else None


def confirmable_from(closed_on: date, days: int) -> date:
    """The first day on which a closed lesion can be confirmed healed; from it on the confirmation is due.

    Parameters
    ----------
    closed_on : date
        Found covered and dry.
    days : int
        House rule, never below 14 (two visits two weeks apart: regulators' definition, from memory). [d]

    Returns
    -------
    date
    """
    return closed_on + timedelta(days=days)


def reopens_until(closed_on: date, days: int) -> date:
    """The last day on which what opens again is still the same lesion; later it is a recurrence.

    Parameters
    ----------
    closed_on : date
    days : int
        House rule (design choice). [d]

    Returns
    -------
    date
    """
    return closed_on + timedelta(days=days)
