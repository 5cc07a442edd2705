"""What a screen shows of a forecast: the clinic's own line and tails laid on it, and the row they are kept
in."""

from collections.abc import Mapping
from dataclasses import asdict, replace
from datetime import date
from typing import Any

from clinic.healing.fared import OwnCounts
from clinic.healing.forecast import Forecast
from clinic.healing.own import Own
from clinic.healing.recalibration import CalibrationLine, Tails

__all__ = ["own_from", "own_row", "recalibrated"]


def recalibrated(plain: Forecast, own: Own | None) -> Forecast:
    """Forecast as this clinic's own closed courses put it.

    Parameters
    ----------
    plain : Forecast
        As the program says it.
    own : Own or None
        The clinic's figures in force; None, or without line and tails, changes nothing.

    Returns
    -------
    Forecast
        Chances and the law of the closing date by the line, both ends of the interval by the tails, the
        middle by the law and inside both ends.

    Notes
    -----
    The line is drawn through the chances of closing within 8 weeks of the last area and moves those of 12
    and 20 weeks, and the law, in the same way: own outcomes of each would be too few; design choice.
    """
    if own is None or own.line is None or own.tails is None:
        return plain
    line = own.line
    weeks = tuple(line.of(chance) for chance in plain.weeks)
    low, high = own.tails.of(plain)
    moved = replace(
        plain,
        weeks=weeks,
        chance_12w=line.of(plain.chance_12w),
        chance_20w=line.of(plain.chance_20w),
        chance_next_8w=line.of(plain.chance_next_8w),
        low=low,
        high=high,
    )
    median = moved.day_of(0.5)
    if median is not None and low is not None:
        median = max(median, low)
    if high is not None:
        median = high if median is None else min(median, high)
    return replace(moved, median=median)


def own_row(own: Own) -> dict[str, Any]:
    """A clinic's figures as JSON, without the day and the method, which stand beside them."""
    row = asdict(own)
    del row["made_on"], row["version"]
    return row


def own_from(made_on: date, version: str, row: Mapping[str, Any]) -> Own:
    """The figures a row of ``own_row`` holds.

    Parameters
    ----------
    made_on : datetime.date
        Day they were made.
    version : str
        Of the method then.
    row : mapping
        From ``own_row``, once through JSON.

    Returns
    -------
    Own
        Equal to what was kept.
    """
    counts = {name: tuple((int(a), int(b)) for a, b in pairs) for name, pairs in row["counts"].items()}
    return Own(
        made_on,
        version,
        None if row["line"] is None else CalibrationLine(**row["line"]),
        None if row["tails"] is None else Tails(**row["tails"]),
        OwnCounts(**counts),
    )
