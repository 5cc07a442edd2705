"""Whether two courses differ: the slope of the equivalent radius of each, and the difference with its
interval.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
from scipy.special import stdtrit

from clinic.healing.errors import SeriesError
from clinic.healing.forecast import radius_error
from clinic.healing.series import Area, Run

__all__ = ["LEAST_AREAS", "Comparison", "Slope", "compare", "slope_of", "split_run"]

LEAST_AREAS = 3
"""Areas a slope needs: two always fit a line, so they say nothing about its error."""


@dataclass(frozen=True, slots=True)
class Slope:
    """Straight line through the equivalent radius of some areas.

    Parameters
    ----------
    areas : tuple of Area
        The areas it rests on.
    start : float
        Radius of the line on the day of the first of them. [mm]
    slope : float
        Change of the radius, negative when closing. [mm/week]
    error : float
        Standard error of the slope. [mm/week]
    freedom : int
        Degrees of freedom, areas − 2. [-]
    low, high : float
        Ends of the interval of the slope. [mm/week]
    """

    areas: tuple[Area, ...]
    start: float
    slope: float
    error: float
    freedom: int
    low: float
    high: float

    @property
    def days(self) -> int:
        """First to last area. [d]"""
        return (self.areas[-1].day - self.areas[0].day).days

    def radius_at(self, day: float) -> float:
        """Radius of the line so many days after its first area. [mm]"""
        return self.start + self.slope * day / 7.0


@dataclass(frozen=True, slots=True)
class Comparison:
    """Two slopes and what lies between them.

    Parameters
    ----------
    first, second : Slope
        The two courses.
    difference : float
        Slope of the second minus that of the first, negative when the second closes faster. [mm/week]
    low, high : float
        Ends of its interval. [mm/week]
    confidence : float
        Coverage of all intervals. [-]
    one_kind : bool
        Whether both were measured by one method in one debridement state.
    """

    first: Slope
    second: Slope
    difference: float
    low: float
    high: float
    confidence: float
    one_kind: bool

    @property
    def words(self) -> str:
        """The answer in one sentence, without saying why."""
        faster = "faster" if self.difference < 0 else "slower"
        gap = f"{abs(self.difference):.2f} mm a week {faster}"
        ends = f"{self.low:+.2f} to {self.high:+.2f} mm a week".replace("-", "−")
        if self.low <= 0 <= self.high:
            return f"No difference can be told: the second closes {gap}, but 0 lies in the interval ({ends})."
        return f"The second closes {gap} ({100 * self.confidence:.0f} % interval of the difference {ends})."


def split_run(run: Run, day: date) -> tuple[tuple[Area, ...], tuple[Area, ...]]:
    """Areas up to and on a day, and those after it: what was measured on the day of a change came before
    it.
    """
    return (
        tuple(area for area in run.areas if area.day <= day),
        tuple(area for area in run.areas if area.day > day),
    )


def slope_of(areas: Sequence[Area], confidence: float = 0.95) -> Slope:
    """Weighted straight line through the equivalent radius.

    Parameters
    ----------
    areas : sequence of Area
        At least three of one method and state, days rising.
    confidence : float
        Two-sided coverage of the interval, between 0 and 1. [-]

    Returns
    -------
    Slope
        The line and the interval of its slope.

    Raises
    ------
    SeriesError
        If there are under three areas, kinds are mixed, or the confidence is not between 0 and 1.

    Notes
    -----
    Least squares with weights 1/σᵢ², σᵢ the measuring error of the radius. The covariance (XᵀWX)⁻¹ is
    multiplied by max(1, χ²/(n − 2)), so a course that scatters more than measuring explains gets a wider
    interval and one that happens to scatter less does not get a narrower one [1]_; the interval takes
    Student's t with n − 2 degrees of freedom. A straight line fits the radius better than the area, because a
    margin that advances evenly makes it one [2]_; a course that bends is described by its mean slope.

    References
    ----------
    .. [1] Birge RT, Phys Rev 1932;40:207-227 (scale of the error; page from memory).
    .. [2] Gilman TH, Wounds 1990;2:95-101 (advance of the margin).

    Examples
    --------
    >>> from datetime import date, timedelta
    >>> from clinic.healing.compare import slope_of
    >>> from clinic.healing.series import Area
    >>> start, week = date(2026, 1, 5), timedelta(weeks=1)
    >>> areas = [Area(start + n * week, area) for n, area in enumerate((300, 240, 190, 150))]
    >>> line = slope_of(areas)  # of the equivalent radius, in mm a week
    >>> round(line.slope, 2), round(line.low, 2), round(line.high, 2)
    (-0.96, -1.92, 0.01)
    """
    if not 0.0 < confidence < 1.0:
        raise SeriesError(f"confidence: {confidence:g} is not between 0 and 1")
    if len(areas) < LEAST_AREAS:
        raise SeriesError(
            f"areas: {len(areas)} given, at least {LEAST_AREAS} needed for a slope with its error"
        )
    if len({(a.method, a.state) for a in areas}) > 1:
        raise SeriesError("areas: more than one method or debridement state, a slope needs one kind")
    days = np.array([float((a.day - areas[0].day).days) for a in areas]) / 7.0
    if (np.diff(days) <= 0).any():
        raise SeriesError("areas: days do not rise, a slope needs them in order and one a day")
    radii = np.array([a.radius for a in areas])
    weights = 1.0 / np.array([radius_error(a) for a in areas]) ** 2
    total = weights.sum()
    middle = float((weights * days).sum() / total)
    centred = days - middle
    spread = float((weights * centred**2).sum())
    slope = float((weights * centred * radii).sum()) / spread
    start = float((weights * radii).sum() / total) - slope * middle
    freedom = len(areas) - 2
    chi2 = float((weights * (radii - start - slope * days) ** 2).sum())
    error = math.sqrt(max(1.0, chi2 / freedom) / spread)
    reach = float(stdtrit(freedom, 0.5 + confidence / 2.0)) * error
    return Slope(tuple(areas), start, slope, error, freedom, slope - reach, slope + reach)


def compare(first: Sequence[Area], second: Sequence[Area], confidence: float = 0.95) -> Comparison:
    """Difference of the slopes of two courses.

    Parameters
    ----------
    first, second : sequence of Area
        As for ``slope_of``; two lesions, or two periods of one.
    confidence : float
        Two-sided coverage of the intervals, between 0 and 1. [-]

    Returns
    -------
    Comparison
        Slopes, difference and interval.

    Raises
    ------
    SeriesError
        As for ``slope_of``.

    Notes
    -----
    The interval is that of Welch: standard error √(s₁² + s₂²) with
    ν = (s₁² + s₂²)²/(s₁⁴/ν₁ + s₂⁴/ν₂) degrees of freedom [1]_. It says whether two courses differ, never why:
    what else changed on the same day is in it too.

    References
    ----------
    .. [1] Welch BL, Biometrika 1947;34:28-35.
    """
    a, b = slope_of(first, confidence), slope_of(second, confidence)
    both = a.error**2 + b.error**2
    freedom = both**2 / (a.error**4 / a.freedom + b.error**4 / b.freedom)
    reach = float(stdtrit(freedom, 0.5 + confidence / 2.0)) * math.sqrt(both)
    difference = b.slope - a.slope
    kinds = {(area.method, area.state) for area in (*a.areas, *b.areas)}
    return Comparison(a, b, difference, difference - reach, difference + reach, confidence, len(kinds) == 1)
