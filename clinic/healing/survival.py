"""Time to healing with right-censored durations: Kaplan-Meier, median, numbers at risk, log-rank test."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import overload

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import chdtrc, ndtri

from clinic.healing.errors import SurvivalError

__all__ = ["KaplanMeier", "LogRank", "Steps", "SurvivalPoint", "at_risk", "kaplan_meier", "logrank"]

_COUNTABLE = 2**20  # a table of counts no longer than the rows it spares sorting
_ROUNDING = 1e-12  # a product of ratios that should be exactly one half may miss it by a few ulp


@dataclass(frozen=True, slots=True)
class SurvivalPoint:
    """One step of the estimate.

    Parameters
    ----------
    time : float
        Time of at least one event. [unit of the durations]
    at_risk, events : int
        Subjects still observed just before the time, and events at it.
    survival : float
        Share without the event after it. [-]
    error : float or None
        Greenwood's standard error; None where the share is 0. [-]
    low, high : float or None
        Pointwise interval by the log-log transform; None where not estimable (share 0 or 1). [-]
    """

    time: float
    at_risk: int
    events: int
    survival: float
    error: float | None
    low: float | None
    high: float | None


@dataclass(frozen=True, slots=True, eq=False)
class Steps(Sequence[SurvivalPoint]):
    """All steps of one estimate: columns inside, points when asked, since a million rows may make half a million.

    Parameters
    ----------
    time, survival : (M,) ndarray
        Distinct event times [unit of the durations] and the share after each. [-]
    at_risk, events : (M,) ndarray of int
        Subjects still observed just before each time, and events at it.
    error, low, high : (M,) ndarray
        As in ``SurvivalPoint``; not a number where that has None. [-]
    """

    time: NDArray[np.float64]
    at_risk: NDArray[np.int64]
    events: NDArray[np.int64]
    survival: NDArray[np.float64]
    error: NDArray[np.float64]
    low: NDArray[np.float64]
    high: NDArray[np.float64]

    def __len__(self) -> int:
        return int(self.time.size)

    def __iter__(self) -> Iterator[SurvivalPoint]:
        return iter(self[:])

    @overload
    def __getitem__(self, index: int) -> SurvivalPoint: ...

    @overload
    def __getitem__(self, index: slice) -> tuple[SurvivalPoint, ...]: ...

    def __getitem__(self, index: int | slice) -> SurvivalPoint | tuple[SurvivalPoint, ...]:
        if not isinstance(index, slice):
            at = index + len(self) if index < 0 else index
            if not 0 <= at < len(self):
                raise IndexError(f"step {index} of {len(self)}")
            return self[at : at + 1][0]
        whole = (self.time, self.at_risk, self.events, self.survival)
        maybe = (self.error, self.low, self.high)
        columns = [column[index].tolist() for column in whole]
        columns += [[None if v != v else v for v in column[index].tolist()] for column in maybe]
        return tuple(SurvivalPoint(*row) for row in zip(*columns, strict=True))

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Sequence) and self[:] == tuple(other)

    def __hash__(self) -> int:
        return hash(self[:])


@dataclass(frozen=True, slots=True)
class KaplanMeier:
    """Product-limit estimate of one group.

    Parameters
    ----------
    n, events : int
        Subjects and events.
    curve : Steps
        One step per distinct event time.
    median, median_low, median_high : float or None
        First time at which the share is at most one half, and the interval read off the pointwise bounds in
        the same way; None where not reached ("not estimable").
    """

    n: int
    events: int
    curve: Steps
    median: float | None
    median_low: float | None
    median_high: float | None

    def survival_at(self, time: float) -> float:
        """Share without the event at a time, 1 before the first event. [-]"""
        passed = int(np.searchsorted(self.curve.time, time, side="right"))
        return float(self.curve.survival[passed - 1]) if passed else 1.0


@dataclass(frozen=True, slots=True)
class LogRank:
    """Log-rank test of two or more groups.

    Parameters
    ----------
    chi2 : float
        Test statistic. [-]
    df : int
        Degrees of freedom.
    p : float
        Upper tail of the chi-squared law. [-]
    observed, expected : tuple of float
        Events per group, and those expected if all groups were one.
    """

    chi2: float
    df: int
    p: float
    observed: tuple[float, ...]
    expected: tuple[float, ...]


def kaplan_meier(durations: ArrayLike, events: ArrayLike, confidence: float = 0.95) -> KaplanMeier:
    """Product-limit estimate with Greenwood's variance and log-log intervals.

    Parameters
    ----------
    durations : (N,) array_like
        Time from time zero to the event or to the last look. [any one unit]
    events : (N,) array_like
        1 or True where the event was seen, 0 where censored.
    confidence : float
        Two-sided coverage of the intervals, between 0 and 1. [-]

    Returns
    -------
    KaplanMeier
        Steps, median and interval.

    Raises
    ------
    SurvivalError
        If there is no subject, the shapes differ, a duration is negative or not finite, an event mark is
        neither 0 nor 1, or the confidence is not between 0 and 1.

    Notes
    -----
    S(t) = Π (1 − dᵢ/nᵢ) over event times tᵢ ≤ t [1]_; a subject censored at an event time is still at risk
    there. Var ln S = Σ dᵢ/(nᵢ(nᵢ − dᵢ)) (Greenwood); the interval is S^exp(±z·s/ln S), which stays inside
    (0, 1). Where death or amputation prevents healing, 1 − S overstates healing: use cumulative incidence.

    References
    ----------
    .. [1] Kaplan EL, Meier P, J Am Stat Assoc 1958;53:457-481.
    """
    times, marks = _checked(durations, events)
    if not 0.0 < confidence < 1.0:
        raise SurvivalError(f"confidence: {confidence:g} is not between 0 and 1")
    when, failed = _counted(times[marks])
    risk = times.size - _before(times, when)
    share: NDArray[np.float64] = np.cumprod(1.0 - failed / risk).astype(float)
    with np.errstate(divide="ignore", invalid="ignore"):
        hazard_variance = np.cumsum(failed / (risk * (risk - failed).astype(float)))
        spread = np.sqrt(hazard_variance)
        error = share * spread
        width = float(ndtri(0.5 + confidence / 2.0)) * spread / np.log(share)
        low, high = share ** np.exp(-width), share ** np.exp(width)
    inside = (share > 0.0) & (share < 1.0)
    curve = Steps(
        time=when,
        at_risk=risk,
        events=failed,
        survival=share,
        error=np.where(share > 0.0, error, np.nan),
        low=np.where(inside, low, np.nan),
        high=np.where(inside, high, np.nan),
    )
    # Where the share has reached 0 its lower bound has too, and its upper bound is not known.
    bounds_low = np.where(share > 0, low, 0.0)
    bounds_high = np.where(share > 0, high, 1.0)
    return KaplanMeier(
        n=int(times.size),
        events=int(failed.sum()),
        curve=curve,
        median=_first_at_most_half(when, share),
        median_low=_first_at_most_half(when, bounds_low),
        median_high=_first_at_most_half(when, bounds_high),
    )


def at_risk(durations: ArrayLike, times: Sequence[float]) -> tuple[int, ...]:
    """Subjects still under observation just before each time.

    Parameters
    ----------
    durations : (N,) array_like
        Durations of one group. [any one unit]
    times : sequence of float
        Times of the table. [same unit]

    Returns
    -------
    tuple of int
        Count of durations at or after each time.

    Raises
    ------
    SurvivalError
        If a duration is negative or not finite.
    """
    values = np.sort(_durations(durations))
    return tuple(int(values.size - np.searchsorted(values, time, side="left")) for time in times)


def logrank(groups: Sequence[tuple[ArrayLike, ArrayLike]]) -> LogRank | None:
    """Log-rank test that two or more groups share one hazard.

    Parameters
    ----------
    groups : sequence of (durations, events)
        One pair per group, as for ``kaplan_meier``.

    Returns
    -------
    LogRank or None
        The test; None where it is not estimable: fewer than two groups, no event, or never two groups at risk
        together at one.

    Raises
    ------
    SurvivalError
        If a group breaks a rule of ``kaplan_meier``.

    Notes
    -----
    At each event time the events of group j are hypergeometric given the margins: mean d·nⱼ/n, covariance
    d(n − d)/(n − 1) · (nⱼ/n)(δⱼₖ − nₖ/n) [1]_. χ² = Uᵀ V⁻ U with U = Σ(O − E), one group dropped; groups with
    no expected event do not count as a degree of freedom. This is not the simpler Σ(O − E)²/E.

    References
    ----------
    .. [1] Mantel N, Cancer Chemother Rep 1966;50:163-170; Peto R, Peto J, J R Stat Soc A 1972;135:185-207.
    """
    if len(groups) < 2:
        return None
    checked = [_checked(durations, events) for durations, events in groups]
    failures = [np.sort(times[marks]) for times, marks in checked]
    when, _ = _counted(np.concatenate(failures))
    if when.size == 0:
        return None
    risk = np.empty((len(groups), when.size))
    failed = np.empty_like(risk)
    for j, (times, _) in enumerate(checked):
        risk[j] = times.size - _before(times, when)
        # Every failure stands at one of the times, so what is new up to each of them failed at it.
        failed[j] = np.diff(np.searchsorted(failures[j], when, side="right"), prepend=0)
    total_risk, total_failed = risk.sum(axis=0), failed.sum(axis=0)
    share = risk / total_risk
    expected = share * total_failed
    with np.errstate(divide="ignore", invalid="ignore"):
        spread = np.where(
            total_risk > 1, total_failed * (total_risk - total_failed) / (total_risk - 1.0), 0.0
        )
    covariance = np.diag((share * spread).sum(axis=1)) - (share * spread) @ share.T
    difference = failed.sum(axis=1) - expected.sum(axis=1)
    kept = np.flatnonzero(np.diag(covariance) > _ROUNDING)
    if kept.size < 2:
        return None
    used = kept[:-1]
    chi2 = float(
        difference[used] @ np.linalg.pinv(covariance[np.ix_(used, used)], hermitian=True) @ difference[used]
    )
    df = int(np.linalg.matrix_rank(covariance[np.ix_(used, used)], hermitian=True))
    return LogRank(
        chi2=max(0.0, chi2),
        df=df,
        p=float(chdtrc(df, max(0.0, chi2))),
        observed=tuple(float(v) for v in failed.sum(axis=1)),
        expected=tuple(float(v) for v in expected.sum(axis=1)),
    )


def _durations(durations: ArrayLike) -> NDArray[np.float64]:
    times = np.asarray(durations, dtype=float)
    if times.ndim != 1:
        raise SurvivalError(f"durations: {times.ndim} dimensions given, 1 needed")
    if times.size and not (times.min() >= 0 and times.max() < math.inf):  # false for NaN too
        bad = ~(np.isfinite(times) & (times >= 0))
        raise SurvivalError(f"durations: {times[bad][0]:g} is not a finite number of 0 or more")
    return times


def _checked(durations: ArrayLike, events: ArrayLike) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    times = _durations(durations)
    marks = np.asarray(events)
    if times.size == 0:
        raise SurvivalError("durations: 0 given, at least 1 needed")
    if marks.shape != times.shape:
        raise SurvivalError(
            f"events: {marks.size} given for {times.size} durations, the counts must be equal"
        )
    if marks.dtype.kind == "b":
        return times, marks
    wrong = (marks != 0) & (marks != 1) if marks.dtype.kind in "iuf" else ~np.isin(marks, (0, 1))
    if wrong.any():
        raise SurvivalError(f"events: {marks[wrong][0]} is neither 0 nor 1")
    return times, marks.astype(bool)


def _whole(values: NDArray[np.float64]) -> NDArray[np.int64] | None:
    """Values as whole numbers small enough to count by; None where they are not. Clinics record whole days."""
    if values.size == 0 or values.max() >= _COUNTABLE:
        return None
    whole = values.astype(np.int64)
    return whole if np.array_equal(whole, values) else None


def _counted(values: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """Distinct values in order, and how often each occurs."""
    whole = _whole(values)
    if whole is not None:
        counts = np.bincount(whole)
        (at,) = np.nonzero(counts)
        return at.astype(float), counts[at]
    ordered = np.sort(values)
    first = np.flatnonzero(np.diff(ordered, prepend=-1.0))
    return ordered[first], np.diff(first, append=ordered.size)


def _before(values: NDArray[np.float64], when: NDArray[np.float64]) -> NDArray[np.int64]:
    """How many values lie before each time."""
    whole = _whole(values)
    if whole is not None:
        until = np.concatenate(([0], np.cumsum(np.bincount(whole))))
        return np.asarray(until[np.minimum(np.ceil(when), until.size - 1).astype(np.int64)])
    return np.searchsorted(np.sort(values), when, side="left")


def _first_at_most_half(when: NDArray[np.float64], share: NDArray[np.floating]) -> float | None:
    reached = np.flatnonzero(share <= 0.5 + _ROUNDING)
    if reached.size == 0 or not math.isfinite(when[reached[0]]):
        return None
    return float(when[reached[0]])
