"""A period that a figure counts over: its ends in order, and no longer than can be counted at once."""

from __future__ import annotations

from datetime import date, timedelta

from django import forms

from clinic.record.dates import day_words

__all__ = ["FIRST_DAY", "MOST_YEARS", "period_check", "usual_periods"]

#: Before this no record of a clinic is kept in the program. Design choice.
FIRST_DAY = date(1990, 1, 1)
#: The page draws and counts it at once. Design choice. [years]
MOST_YEARS = 30
DAYS_A_YEAR = 365.25


def period_check(form: forms.Form, since: date | None, until: date | None, start: str) -> None:
    """Hold the fields `since` and `until` against the order of the days and the limits of a period; `start`
    is what the first field is called.
    """
    if since is not None and since < FIRST_DAY:
        form.add_error(
            "since",
            f"{start}: {day_words(since)} was given; {day_words(FIRST_DAY)} is the earliest possible.",
        )
        return
    if since is None or until is None:
        return
    if until < since:
        form.add_error(
            "until", f"To: {day_words(until)} lies before the start of the period, {day_words(since)}."
        )
    elif (until - since).days > MOST_YEARS * DAYS_A_YEAR:
        years = (until - since).days / DAYS_A_YEAR
        form.add_error(
            "until", f"To: the period is {years:.0f} years long; at most {MOST_YEARS} are counted."
        )


def usual_periods(today: date) -> tuple[tuple[str, date, date], ...]:
    """The calendar periods a manager reports on, with their first and last day."""
    this = date(today.year, 3 * ((today.month - 1) // 3) + 1, 1)
    before = this - timedelta(days=1)
    last = date(before.year, before.month - 2, 1)
    return (
        ("Last quarter", last, before),
        ("This quarter", this, today),
        ("Last year", date(today.year - 1, 1, 1), date(today.year - 1, 12, 31)),
    )
