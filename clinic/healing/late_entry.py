"""Time to healing of subjects that joined late: they are counted from the day they came, not from day 0."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from clinic.healing.errors import SurvivalError

__all__ = ["LateCurve", "late_entry_curve", "well_watched"]

Floats = NDArray[np.float64]
_ROUNDING = 1e-12  # a product of ratios that should be exactly one half may miss it by a few ulp


@dataclass(frozen=True, slots=True)
class LateCurve:
    """Product-limit estimate under left truncation.

    Parameters
    ----------
    time : (M,) ndarray
        Distinct event times. [unit of the durations]
    at_risk, events : (M,) ndarray of int
        Subjects that had joined before each time and were still observed, and events at it.
    survival, error : (M,) ndarray
        Share without the event after each, and Greenwood's standard error, not a number once the share is 0.
        [-]
    median : float or None
        First time at which the share is at most one half.
    """

    time: Floats
    at_risk: NDArray[np.int64]
    events: NDArray[np.int64]
    survival: Floats
    error: Floats
    median: float | None

    def survival_at(self, time: float) -> float:
        """Share without the event at a time, 1 before the first event. [-]"""
        passed = int(np.searchsorted(self.time, time, side="right"))
        return float(self.survival[passed - 1]) if passed else 1.0


def well_watched(entries: ArrayLike, durations: ArrayLike, least: int) -> tuple[float, float] | None:
    """First stretch of time in which at least so many subjects are under observation together.

    Parameters
    ----------
    entries, durations : (N,) array_like
        As for ``late_entry_curve``. [any one unit]
    least : int
        Subjects, at least 1.

    Returns
    -------
    (float, float) or None
        From when the last of them has joined to the last time at which so many are still observed; None
        where they never are together. Before it, one event among the few who had joined would stand for all.

    Raises
    ------
    SurvivalError
        If ``least`` is under 1.
    """
    if least < 1:
        raise SurvivalError(f"least: {least} given, at least 1")
    joined, times = np.asarray(entries, dtype=float), np.asarray(durations, dtype=float)
    starts = np.unique(joined)
    enough = np.flatnonzero(_together(joined, times, starts) >= least)
    if enough.size == 0:
        return None
    start = float(starts[enough[0]])
    ends = np.unique(times[times > start])
    few = np.flatnonzero(_together(joined, times, ends) < least)
    return start, float(ends[few[0]])


def _together(joined: Floats, times: Floats, at: Floats) -> NDArray[np.int64]:
    """Subjects under observation just after each time."""
    before = np.searchsorted(np.sort(joined), at, side="right")
    return np.asarray(before - np.searchsorted(np.sort(times), at, side="right"), dtype=np.int64)


def late_entry_curve(entries: ArrayLike, durations: ArrayLike, events: ArrayLike) -> LateCurve:
    """Product-limit estimate of subjects that come under observation after time zero.

    Parameters
    ----------
    entries : (N,) array_like
        Time from time zero to joining, 0 for those seen from the beginning. [unit of the durations]
    durations : (N,) array_like
        Time from time zero to the event or to the last look; after the entry.
    events : (N,) array_like
        1 or True where the event was seen, 0 where censored.

    Returns
    -------
    LateCurve
        Steps and median.

    Raises
    ------
    SurvivalError
        If there is no subject, the counts differ, a time is negative, not finite or not after its entry, or
        an event mark is neither 0 nor 1.

    Notes
    -----
    At risk at t are those with entry < t ≤ duration: a subject that joined at day 40 says nothing of the
    first 40 days, and counting it from day 0 would make healing look late [1]_. Where few have joined a
    single event can take the share to 0; the numbers at risk stand beside it for that reason.

    References
    ----------
    .. [1] Tsai WY, Jewell NP, Wang MC, Biometrika 1987;74:883-886.
    """
    joined, times = np.asarray(entries, dtype=float), np.asarray(durations, dtype=float)
    marks = np.asarray(events)
    if times.ndim != 1 or times.size == 0:
        raise SurvivalError(f"durations: {times.size} given, at least 1 needed in one row")
    if joined.shape != times.shape or marks.shape != times.shape:
        raise SurvivalError(
            f"entries, durations, events: {joined.size}, {times.size} and {marks.size} given, the "
            "counts must be equal"
        )
    if not (np.isfinite(joined).all() and joined.min() >= 0):
        raise SurvivalError("entries: one is not a finite number of 0 or more")
    wrong = ~(np.isfinite(times) & (times > joined))
    if wrong.any():
        raise SurvivalError(f"durations: {times[wrong][0]:g} is not after its entry, {joined[wrong][0]:g}")
    if not np.isin(marks, (0, 1)).all():
        raise SurvivalError("events: one is neither 0 nor 1")
    failed_at = np.sort(times[marks.astype(bool)])
    when, failed = np.unique(failed_at, return_counts=True)
    risk = np.searchsorted(np.sort(joined), when, side="left") - np.searchsorted(
        np.sort(times), when, side="left"
    )
    share: Floats = np.cumprod(1.0 - failed / risk).astype(np.float64)
    with np.errstate(divide="ignore", invalid="ignore"):
        error = share * np.sqrt(np.cumsum(failed / (risk * (risk - failed).astype(float))))
    half = np.flatnonzero(share <= 0.5 + _ROUNDING)
    return LateCurve(
        time=when,
        at_risk=risk,
        events=failed,
        survival=share,
        error=np.where(share > 0, error, np.nan),
        median=float(when[half[0]]) if half.size else None,
    )
