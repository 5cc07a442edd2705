"""Dated wound areas: what one is, and which of them may be compared with each other.

Areas found by different methods, or on different sides of a debridement, are different quantities:
length times width alone overstates an ellipse by 27 %, and debridement enlarges the wound it cleans.
So a series that mixes them is split, and only its last unbroken run is judged.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from clinic.healing.errors import SeriesError
from clinic.healing.reason import day_words

__all__ = [
    "AREA_LIMIT_MM2",
    "LONGEST_GAP",
    "Area",
    "Method",
    "Run",
    "WoundState",
    "ellipse_area",
    "equivalent_perimeter",
    "equivalent_radius",
    "last_run",
    "recent",
    "square_mm",
]

AREA_LIMIT_MM2 = 100_000.0
"""Largest area taken, 1000 cm²: more than the skin of a whole foot sole and dorsum. [mm²]"""

LONGEST_GAP = 56
"""Days without an area after which nothing is foretold, and beyond which older areas say nothing of the
course; design choice. [d]"""


class Method(StrEnum):
    """How an area was found; areas of two methods are never compared."""

    TRACED = "traced"
    ELLIPSE = "ellipse"
    RULER = "ruler"


class WoundState(StrEnum):
    """Whether the wound was measured before or after debridement that day, or nobody said."""

    BEFORE = "before"
    AFTER = "after"
    NOT_STATED = ""


# On a tie between equally long runs: tracing first, then the debrided wound, whose margin is in sight
# (common practice, no source).
_METHOD_RANK = {Method.TRACED: 0, Method.ELLIPSE: 1, Method.RULER: 2}
_STATE_RANK = {WoundState.AFTER: 0, WoundState.BEFORE: 1, WoundState.NOT_STATED: 2}


@dataclass(frozen=True, slots=True)
class Area:
    """One measured wound area.

    Parameters
    ----------
    day : datetime.date
        Day of the visit.
    area : float
        Area, 0 when no open wound was found. [mm²]
    method : Method
        How it was found.
    state : WoundState
        Before or after debridement.
    perimeter : float or None
        Length of the traced margin where one was traced; None takes the circle of equal area. [mm]
    share : float or None
        Measured error of this clinic as a share of the area; None takes the design choice. [-]

    Raises
    ------
    SeriesError
        If the area is not a number from 0 to ``AREA_LIMIT_MM2``, or the perimeter is shorter than that of
        the circle of equal area, which no outline can be.
    """

    day: date
    area: float
    method: Method = Method.TRACED
    state: WoundState = WoundState.NOT_STATED
    perimeter: float | None = None
    share: float | None = None

    def __post_init__(self) -> None:
        if self.share is not None and not 0.0 <= self.share <= 1.0:
            raise SeriesError(f"error share of {self.day.isoformat()}: {self.share:g} is not from 0 to 1")
        if not (math.isfinite(self.area) and 0.0 <= self.area <= AREA_LIMIT_MM2):
            raise SeriesError(
                f"area of {self.day.isoformat()}: {self.area:g} mm² is not from 0 to {AREA_LIMIT_MM2:g} mm²"
            )
        least = 2.0 * math.sqrt(math.pi * self.area)
        # 1 % slack: a polygon of few vertices stored with rounded coordinates.
        if self.perimeter is not None and not (
            math.isfinite(self.perimeter) and self.perimeter >= 0.99 * least
        ):
            raise SeriesError(
                f"perimeter of {self.day.isoformat()}: {self.perimeter:g} mm is shorter than the circle of "
                f"equal area, {least:.1f} mm"
            )

    @property
    def area_cm2(self) -> float:
        """Area as screens show it. [cm²]"""
        return self.area / 100.0

    @property
    def radius(self) -> float:
        """Radius of the circle of equal area. [mm]"""
        return equivalent_radius(self.area)

    @property
    def margin(self) -> float:
        """Measured perimeter, else that of the circle of equal area. [mm]"""
        return equivalent_perimeter(self.area) if self.perimeter is None else self.perimeter


@dataclass(frozen=True, slots=True)
class Run:
    """Areas of one method and state in order of days, and what had to be left out to get there.

    Parameters
    ----------
    areas : tuple of Area
        At least one, days strictly rising.
    left_out : int
        Areas of the lesion that are not in this run.
    note : str or None
        Sentence that says so; None when nothing was left out.
    """

    areas: tuple[Area, ...]
    left_out: int = 0
    note: str | None = None

    @property
    def first(self) -> Area:
        """First area of the run."""
        return self.areas[0]

    @property
    def last(self) -> Area:
        """Last area of the run."""
        return self.areas[-1]

    @property
    def days(self) -> tuple[int, ...]:
        """Days since the first area of the run. [d]"""
        return tuple((a.day - self.first.day).days for a in self.areas)

    @property
    def span(self) -> int:
        """Days from first to last area. [d]"""
        return (self.last.day - self.first.day).days


def square_mm(area_cm2: float) -> float:
    """Area in mm² from cm², rounded so that 2.35 cm² is 235 mm² and not a hair beside it. [mm²]"""
    return round(area_cm2 * 100.0, 9)


def ellipse_area(length: float, width: float) -> float:
    """Area of the ellipse with these two full axes.

    Parameters
    ----------
    length, width : float
        Longest chord and the longest one across it. [mm]

    Returns
    -------
    float
        Area. [mm²]

    Raises
    ------
    SeriesError
        If either is not a positive number, or the length is less than the width.

    Notes
    -----
    A = π/4 · L · W. The rectangle L · W exceeds it by 4/π − 1 = 27.3 %, and measured wounds by 41 % [1]_.

    References
    ----------
    .. [1] Rogers LC et al., J Diabetes Sci Technol 2010;4:799-802.
    """
    for name, value in (("length", length), ("width", width)):
        if not (math.isfinite(value) and value > 0):
            raise SeriesError(f"{name}: {value:g} mm is not above 0 mm")
    if length < width:
        raise SeriesError(f"length: {length:g} mm is less than the width, {width:g} mm")
    return math.pi / 4.0 * length * width


def equivalent_radius(area: float) -> float:
    """Radius of the circle of equal area, √(A/π), from [mm²] to [mm]."""
    return math.sqrt(area / math.pi)


def equivalent_perimeter(area: float) -> float:
    """Perimeter of the circle of equal area, 2·√(π·A), from [mm²] to [mm]."""
    return 2.0 * math.sqrt(math.pi * area)


def last_run(areas: Iterable[Area], closed: Iterable[date] = ()) -> Run:
    """Last unbroken run of areas of one method and state.

    Parameters
    ----------
    areas : iterable of Area
        Areas of one lesion in any order; several on one day are legal if method or state differ.
    closed : iterable of datetime.date
        Days on which the wound was found covered and dry; an area of 0 says the same by itself.

    Returns
    -------
    Run
        The run and a sentence on what was left out.

    Raises
    ------
    SeriesError
        If there is no area, or two of one method and state on one day.

    Notes
    -----
    A visit day belongs to a run when it has an area of the run's method and state. Of the kinds measured on
    the last day, the one whose run reaches back furthest is taken; so a wound measured before *and* after
    debridement at each visit keeps its whole length. Ties: tracing before ellipse before ruler, then the
    debrided wound. An area of 0 ends a run: what opens after it is a course of its own.
    """
    listed = list(areas)
    if not listed:
        raise SeriesError("areas: 0 given, at least 1 needed")
    by_day: dict[date, dict[tuple[Method, WoundState], Area]] = {}
    for area in listed:
        kinds = by_day.setdefault(area.day, {})
        kind = (area.method, area.state)
        if kind in kinds:
            raise SeriesError(f"areas of {area.day.isoformat()}: 2 given as {_words(kind)}, at most 1 a day")
        kinds[kind] = area
    days = sorted(by_day)
    found_closed = [day for day in closed if day < days[-1]]
    opened = max(found_closed, default=date.min)
    runs = [_run_back(kind, [day for day in days if day > opened], by_day) for kind in by_day[days[-1]]]
    best = min(runs, key=lambda run: (-len(run), _METHOD_RANK[run[0].method], _STATE_RANK[run[0].state]))
    left_out = len(listed) - len(best)
    if not left_out:
        return Run(tuple(best))
    kind = (best[0].method, best[0].state)
    before = [area for area in listed if area.day < best[0].day]
    shut = max([area.day for area in before if area.area == 0] + found_closed, default=None)
    why = []
    if shut is not None and all(area.day <= shut for area in before):
        why.append(f"the ulcer was closed on {day_words(shut)}, and what opens again is a course of its own")
    if any((area.method, area.state) != kind for area in listed):
        why.append("areas of another method or debridement state are never compared with it")
    note = (
        f"Only the last unbroken run is judged: {len(best)} of {len(listed)} areas, {_words(kind)}, from "
        f"{day_words(best[0].day)}; {'; '.join(why) or 'a visit without such an area lies before it'}."
    )
    return Run(tuple(best), left_out, note)


def recent(run: Run) -> Run:
    """Areas of a run since its last gap of more than ``LONGEST_GAP`` days."""
    days = run.days
    begin = max((i for i in range(1, len(days)) if days[i] - days[i - 1] > LONGEST_GAP), default=0)
    return run if begin == 0 else Run(run.areas[begin:], run.left_out + begin, run.note)


def _run_back(
    kind: tuple[Method, WoundState],
    days: Sequence[date],
    by_day: dict[date, dict[tuple[Method, WoundState], Area]],
) -> list[Area]:
    run: list[Area] = []
    for day in reversed(days):
        area = by_day[day].get(kind)
        if area is None or (area.area == 0 and any(later.area > 0 for later in run)):
            break
        run.append(area)
    return run[::-1]


def _words(kind: tuple[Method, WoundState]) -> str:
    method, state = kind
    return str(method) if state is WoundState.NOT_STATED else f"{method}, {state} debridement"
