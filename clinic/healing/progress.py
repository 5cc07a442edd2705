"""How far a wound has come, and whether a change is more than measuring error."""

import math
from dataclasses import dataclass

from clinic.healing.errors import SeriesError
from clinic.healing.series import Area, Method, Run

__all__ = [
    "BRIDGE_SLACK",
    "MARGIN_ERROR",
    "RELATIVE_ERROR",
    "THREE_WEEKS",
    "TOO_SMALL",
    "WIDEST_BRIDGE",
    "Change",
    "Progress",
    "area_at",
    "area_error",
    "change_between",
    "linear_advance",
    "progress_of",
    "reduction_percent",
]

RELATIVE_ERROR = {Method.TRACED: 0.10, Method.ELLIPSE: 0.20, Method.RULER: 0.20}
"""Share of the area taken as its error; a design choice until the clinic measures its own repeatability.
[-]"""

MARGIN_ERROR = 0.5
"""Least uncertainty of where the margin runs; a design choice, as above. [mm]"""

TOO_SMALL = 50.0
"""Below this, changes are called too small to judge by area; a design choice. [mm²]"""

WIDEST_BRIDGE = 35
"""Days between two areas over which an area in between is interpolated: a monthly visit and a week of delay;
design choice. [d]"""

BRIDGE_SLACK = 3
"""Days by which two areas may lie further apart than the last weeks into which an area between them is put,
so that a figure about these weeks rests on areas in them; design choice. [d]"""

FOUR_WEEKS = 28
THREE_WEEKS = 21
_FOUR_WEEK_TOLERANCE = 3


@dataclass(frozen=True, slots=True)
class Change:
    """Change from one area to a later one, beside what measuring alone can do.

    Parameters
    ----------
    difference : float
        Later minus earlier area. [mm²]
    error : float
        √2 times the error of the earlier area. [mm²]
    percent, error_percent : float or None
        The same two as a percentage of the earlier area; None where that is 0. [%]
    real : bool
        True when the difference is larger than its error.
    words : str
        One line for a screen.
    """

    difference: float
    error: float
    percent: float | None
    error_percent: float | None
    real: bool
    words: str


@dataclass(frozen=True, slots=True)
class Progress:
    """Progress figures of one run of areas.

    Parameters
    ----------
    n : int
        Areas in the run.
    days : int
        First to last area. [d]
    reduction_last : float or None
        Area reduction, first to last area; None when the first area is 0. [%]
    reduction_4w : float or None
        Area reduction at day 28; None without an area at or after day 25, or in a gap around it. [%]
    reduction_28d : float or None
        Area reduction over the last 28 days; None when the run is shorter, or had a gap then. [%]
    advance : float or None
        Linear advance of the margin, first to last area; None for a single day or two zero areas. [mm/week]
    radius : float
        Equivalent radius of the last area. [mm]
    last_change : Change or None
        Last area against the one before.
    three_weeks : Change or None
        Last area against that of three weeks before, or against the first area of a shorter run; None in a
        gap.
    weekly : tuple of float or None
        Area reduction at whole weeks 0, 1, 2, … of the run, interpolated between visits. [%]
    """

    n: int
    days: int
    reduction_last: float | None
    reduction_4w: float | None
    reduction_28d: float | None
    advance: float | None
    radius: float
    last_change: Change | None
    three_weeks: Change | None
    weekly: tuple[float | None, ...]


def area_error(
    area: float, method: Method, perimeter: float | None = None, share: float | None = None
) -> float:
    """Measuring error of one area, one standard deviation.

    Parameters
    ----------
    area : float
        Wound area. [mm²]
    method : Method
        How it was found.
    perimeter : float or None
        Its margin; None takes the circle of equal area. [mm]
    share : float or None
        Measured repeatability of the clinic, as a share; None takes the design choice. [-]

    Returns
    -------
    float
        Error of the area. [mm²]

    Notes
    -----
    max(f·A, 0.5 mm · P) with f = 10 % for tracing and 20 % for ellipse or ruler. These are design choices; a
    measured share takes the place of f, while the margin stays: the share is a mean over wounds of many
    sizes. Published repeatability lies on both sides of them: mean error by hand 16.2 % and 3.9 % by digital
    tracing on large or irregular wounds [1]_.

    References
    ----------
    .. [1] Wounds 2011;23:267-275 (200 wounds, abstract).
    """
    margin = 2.0 * math.sqrt(math.pi * area) if perimeter is None else perimeter
    factor = RELATIVE_ERROR[method] if share is None else share
    return max(factor * area, MARGIN_ERROR * margin)


def reduction_percent(first: float, later: float) -> float | None:
    """Percentage area reduction, (A₀ − A)/A₀ · 100; negative is growth, None when A₀ is 0. [%]"""
    return None if first <= 0 else (first - later) / first * 100.0


def linear_advance(first: float, later: float, margins: tuple[float, float] | None = None) -> float | None:
    """Advance of the wound margin between two areas.

    Parameters
    ----------
    first, later : float
        The two areas. [mm²]
    margins : tuple of float or None
        Their perimeters; None takes circles of equal area. [mm]

    Returns
    -------
    float or None
        Advance, positive when the wound closes in; None when both perimeters are 0. [mm]

    Notes
    -----
    d = (A₁ − A₂) / ((p₁ + p₂)/2) [1]_. For circles this is exactly the difference of the radii.

    References
    ----------
    .. [1] Gilman TH, Wounds 1990;2:95-101; as used in Wound Repair Regen 2008;16:507-512.
    """
    if margins is None:
        margins = (2.0 * math.sqrt(math.pi * first), 2.0 * math.sqrt(math.pi * later))
    mean = (margins[0] + margins[1]) / 2.0
    return None if mean <= 0 else (first - later) / mean


def area_at(run: Run, day: float, widest: float = WIDEST_BRIDGE) -> float | None:
    """Area on a day of the run, interpolated linearly between the visits around it.

    Parameters
    ----------
    run : Run
        Areas of one kind.
    day : float
        Days since the first area. [d]
    widest : float
        Longest gap to interpolate in. [d]

    Returns
    -------
    float or None
        Area; None outside the run, which is never extrapolated, and inside a gap of more than
        ``widest`` days, where nobody knows what the wound did. [mm²]
    """
    days = run.days
    if not days[0] <= day <= days[-1]:
        return None
    for index in range(1, len(days)):
        if day <= days[index]:
            before, after = run.areas[index - 1], run.areas[index]
            if days[index] - days[index - 1] > widest and day not in (days[index - 1], days[index]):
                return None
            share = (day - days[index - 1]) / (days[index] - days[index - 1])
            return before.area + share * (after.area - before.area)
    return run.first.area


def change_between(
    earlier: float,
    later: float,
    method: Method,
    perimeter: float | None = None,
    share: float | None = None,
) -> Change:
    """Change between two areas of one method against the error of their difference.

    Parameters
    ----------
    earlier, later : float
        The two areas. [mm²]
    method : Method
        How both were found.
    perimeter : float or None
        Margin of the earlier one; None takes the circle of equal area. [mm]
    share : float or None
        Measured error of one area at this clinic, as a share; None takes the design choice. [-]

    Returns
    -------
    Change
        Figures and the words of a screen.

    Raises
    ------
    SeriesError
        If an area is negative or not a number.

    Notes
    -----
    The error of a difference is √2 of that of one area; the earlier area is the reference for both the
    percentage and the error, so that a limit does not move with the value it judges.
    """
    for name, value in (("earlier area", earlier), ("later area", later)):
        if not (math.isfinite(value) and value >= 0):
            raise SeriesError(f"{name}: {value:g} mm² is not 0 mm² or more")
    difference = later - earlier
    error = math.sqrt(2.0) * area_error(earlier, method, perimeter, share)
    real = abs(difference) > error
    percent = difference / earlier * 100.0 if earlier > 0 else None
    error_percent = error / earlier * 100.0 if earlier > 0 else None
    return Change(
        difference, error, percent, error_percent, real, _words(later, percent, error_percent, real)
    )


def _words(later: float, percent: float | None, error_percent: float | None, real: bool) -> str:
    if percent is None or error_percent is None:
        return "no change: closed at both visits" if later == 0 else "open again after an area of 0"
    if later == 0:
        return "closed since the last area"
    judged = "too small to judge by area" if later < TOO_SMALL else f"{'beyond' if real else 'within'} error"
    return f"{_direction(percent)} (± {error_percent:.0f} %, {judged})"


def _direction(percent: float) -> str:
    """The change with its sign in the word."""
    rounded = round(percent)
    if rounded == 0:
        return "no change"
    return f"{abs(rounded)} % {'smaller' if rounded < 0 else 'larger'}"


def progress_of(run: Run) -> Progress:
    """All progress figures of a run.

    Parameters
    ----------
    run : Run
        Areas of one kind, from ``last_run``.

    Returns
    -------
    Progress
        Figures; None wherever one is not defined.

    Notes
    -----
    The 4-week figure is taken at day 28 by interpolation between the visits around it. Where no visit is at
    or after day 28 but one is at day 25 to 27, the latest of these stands for it unchanged.
    """
    first, last = run.first, run.last
    span = run.span
    # A measured margin is longer than the circle's, so one is never averaged with the other.
    traced = first.perimeter is not None and last.perimeter is not None
    margins = (first.margin, last.margin) if traced else None
    advance = linear_advance(first.area, last.area, margins) if span else None
    return Progress(
        n=len(run.areas),
        days=span,
        reduction_last=reduction_percent(first.area, last.area),
        reduction_4w=_reduction_4w(run),
        reduction_28d=_reduction_28d(run),
        advance=None if advance is None else advance / (span / 7.0),
        radius=last.radius,
        last_change=_last_change(run),
        three_weeks=_three_weeks(run),
        weekly=tuple(_reduction_on(run, 7.0 * week) for week in range(span // 7 + 1)),
    )


def _reduction_on(run: Run, day: float) -> float | None:
    area = area_at(run, day)
    return None if area is None else reduction_percent(run.first.area, area)


def _reduction_4w(run: Run) -> float | None:
    if run.span < FOUR_WEEKS - _FOUR_WEEK_TOLERANCE:
        return None
    return _reduction_on(run, min(float(FOUR_WEEKS), float(run.span)))


def _reduction_28d(run: Run) -> float | None:
    then = area_at(run, run.span - FOUR_WEEKS, FOUR_WEEKS + BRIDGE_SLACK)
    return None if then is None else reduction_percent(then, run.last.area)


def _last_change(run: Run) -> Change | None:
    if len(run.areas) < 2:
        return None
    before: Area = run.areas[-2]
    return change_between(before.area, run.last.area, run.last.method, before.perimeter, before.share)


def _three_weeks(run: Run) -> Change | None:
    if len(run.areas) < 2:
        return None
    then = area_at(run, max(0, run.span - THREE_WEEKS), THREE_WEEKS + BRIDGE_SLACK)
    return (
        None if then is None else change_between(then, run.last.area, run.last.method, share=run.last.share)
    )
