"""How well forecasts have done: what was said of real wounds in week 4 or 8 against what then happened."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum

from clinic.healing.errors import SeriesError
from clinic.healing.forecast import Forecast, forecast_many
from clinic.healing.proportion import Proportion, wilson
from clinic.healing.series import Area, Run, last_run

__all__ = [
    "BY_WEEK",
    "Followed",
    "Looked",
    "Outcome",
    "ReliabilityBin",
    "Span",
    "brier",
    "look_back",
    "reliability",
]

BY_WEEK = 12
"""The chance judged is that of being closed so many weeks after the first area."""

_BINS = 5
_RECENT = 8
"""A forecast rests on a visit at most so many days before the day it is looked at. [d]"""


class Outcome(StrEnum):
    """What had become of a wound twelve weeks after its first area."""

    CLOSED = "closed"
    NOT_CLOSED = "not closed"
    UNKNOWN = "not known yet"


class Span(StrEnum):
    """Where the closing lay against the 80 % interval."""

    BEFORE = "before it"
    INSIDE = "inside it"
    AFTER = "after it"
    OPEN = "still open, interval not over"
    UNKNOWN = "follow-up ended before the interval"
    NO_DATE = "no date was named"


@dataclass(frozen=True, slots=True)
class Followed:
    """One wound as it is known today.

    Parameters
    ----------
    key : str
        To open the case behind a line.
    areas : tuple of Area
        All its areas.
    breaks : tuple of datetime.date
        Days of changes of device, plan or perfusion.
    closed : datetime.date or None
        Day it was found covered and dry and did not reopen.
    known_until : datetime.date
        Last day its state is known; today for an open wound seen lately.
    ended : bool
        Whether it ended otherwise (amputation, death): never closed after that.

    Raises
    ------
    SeriesError
        If it closed after the last day it is known.
    """

    key: str
    areas: tuple[Area, ...]
    breaks: tuple[date, ...]
    closed: date | None
    known_until: date
    ended: bool = False

    def __post_init__(self) -> None:
        if self.closed is not None and self.closed > self.known_until:
            raise SeriesError(
                f"closed of {self.key}: {self.closed.isoformat()} is after the last day known, "
                f"{self.known_until.isoformat()}"
            )


@dataclass(frozen=True, slots=True)
class Looked:
    """What was said of one wound at one week, and what happened.

    Parameters
    ----------
    key : str
        Of the wound.
    said : Forecast
        From the areas known then.
    first : datetime.date
        First area it counts from.
    outcome : Outcome
        Twelve weeks after the first area.
    span : Span
        Against the 80 % interval of the closing date.
    closed : datetime.date or None
        When it closed.
    known_until : datetime.date
        Last day its state is known.
    ended : bool
        Whether it ended otherwise.
    """

    key: str
    said: Forecast
    first: date
    outcome: Outcome
    span: Span
    closed: date | None
    known_until: date
    ended: bool = False


@dataclass(frozen=True, slots=True)
class ReliabilityBin:
    """Chances of one fifth: how many, the mean said, and the share that closed with its interval."""

    low: float
    high: float
    said: float
    happened: Proportion


def look_back(wounds: Iterable[Followed], week: int) -> tuple[Looked, ...]:
    """Forecasts as of a week, from nothing later, against what happened.

    Parameters
    ----------
    wounds : iterable of Followed
        Closed and unclosed alike: leaving the unclosed out would make every forecast look early.
    week : int
        Weeks after the first area, 1 to 51.

    Returns
    -------
    tuple of Looked
        Of wounds open on that day with three areas of one kind by then, the last at most 8 days before;
        others had no forecast then.

    Raises
    ------
    SeriesError
        If the week is not from 1 to 51.
    """
    if not 1 <= week <= 51:
        raise SeriesError(f"week: {week} is not from 1 to 51")
    known: list[tuple[Followed, Run, tuple[date, ...]]] = []
    for wound in wounds:
        if not wound.areas:
            continue
        day = min(area.day for area in wound.areas) + timedelta(days=7 * week)
        # One day of grace: a weekly visit a day late is that week's visit.
        areas = [area for area in wound.areas if area.day <= day + timedelta(days=1)]
        if (wound.closed is not None and wound.closed <= day) or wound.known_until < day:
            continue
        run = last_run(areas)
        if (day - run.last.day).days <= _RECENT:
            known.append((wound, run, tuple(b for b in wound.breaks if b <= run.last.day)))
    said = forecast_many([(run, breaks) for _, run, breaks in known])
    return tuple(
        Looked(
            wound.key,
            found,
            run.first.day,
            _outcome(wound, run),
            _span(wound, found),
            wound.closed,
            wound.known_until,
            wound.ended,
        )
        for (wound, run, _), found in zip(known, said, strict=True)
        if found is not None
    )


def _outcome(wound: Followed, run: Run) -> Outcome:
    by = run.first.day + timedelta(days=7 * BY_WEEK)
    if wound.closed is not None and wound.closed <= by:
        return Outcome.CLOSED
    if wound.closed is not None or wound.ended or wound.known_until >= by:
        return Outcome.NOT_CLOSED
    return Outcome.UNKNOWN


def _span(wound: Followed, said: Forecast) -> Span:
    if not said.names_date or said.low is None:
        return Span.NO_DATE
    if wound.closed is not None:
        if wound.closed < said.low:
            return Span.BEFORE
        return Span.AFTER if said.high is not None and wound.closed > said.high else Span.INSIDE
    if said.high is not None and (wound.known_until > said.high or wound.ended):
        return Span.AFTER
    return Span.UNKNOWN if wound.ended else Span.OPEN


def reliability(looked: Sequence[Looked]) -> tuple[ReliabilityBin, ...]:
    """Chances said in five bins against the share that closed; outcomes not known yet are left out.

    Parameters
    ----------
    looked : sequence of Looked
        Of one week.

    Returns
    -------
    tuple of ReliabilityBin
        Bins with at least one wound.
    """
    bins: list[list[Looked]] = [[] for _ in range(_BINS)]
    for one in looked:
        if one.outcome is not Outcome.UNKNOWN:
            bins[min(int(one.said.chance_12w * _BINS), _BINS - 1)].append(one)
    rows = []
    for number, members in enumerate(bins):
        if members:
            happened = wilson(sum(one.outcome is Outcome.CLOSED for one in members), len(members))
            said = sum(one.said.chance_12w for one in members) / len(members)
            rows.append(ReliabilityBin(number / _BINS, (number + 1) / _BINS, said, happened))
    return tuple(rows)


def brier(looked: Sequence[Looked]) -> tuple[float, float] | None:
    """Brier score of the chances, and of saying the share that closed to all.

    Parameters
    ----------
    looked : sequence of Looked
        Of one week.

    Returns
    -------
    tuple of float or None
        Mean squared gap between chance and outcome (0 or 1), less is better [1]_; None where no outcome is
        known.

    Notes
    -----
    The second figure knows the share that closed, which nobody knew beforehand: it flatters the comparison.

    References
    ----------
    .. [1] Brier GW, Mon Weather Rev 1950;78:1-3.
    """
    known = [one for one in looked if one.outcome is not Outcome.UNKNOWN]
    if not known:
        return None
    marks = [float(one.outcome is Outcome.CLOSED) for one in known]
    share = sum(marks) / len(marks)
    score = sum((one.said.chance_12w - mark) ** 2 for one, mark in zip(known, marks, strict=True)) / len(
        known
    )
    return score, share * (1.0 - share)
