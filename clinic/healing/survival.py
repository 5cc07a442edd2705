"""Time to healing with right-censored durations: Kaplan-Meier, median, numbers at risk, log-rank test."""

import bisect
import math
import warnings
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import chdtrc

from clinic.healing.errors import SurvivalError

__all__ = ["KaplanMeier", "LogRank", "SurvivalPoint", "at_risk", "kaplan_meier", "logrank"]

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


@dataclass(frozen=True, slots=True)
class KaplanMeier:
    """Product-limit estimate of one group.

    Parameters
    ----------
    n, events : int
        Subjects and events.
    curve : tuple of SurvivalPoint
        One step per distinct event time.
    median, median_low, median_high : float or None
        First time at which the share is at most one half, and the interval read off the pointwise bounds in
        the same way; None where not reached ("not estimable").
    """

    n: int
    events: int
    curve: tuple[SurvivalPoint, ...]
    median: float | None
    median_low: float | None
    median_high: float | None

    def survival_at(self, time: float) -> float:
        """Share without the event at a time, 1 before the first event. [-]"""
        passed = bisect.bisect_right(self.curve, time, key=lambda point: point.time)
        return self.curve[passed - 1].survival if passed else 1.0


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

    Examples
    --------
    >>> from clinic.healing.survival import kaplan_meier
    >>> found = kaplan_meier([3, 5, 5, 8, 10], [1, 1, 0, 1, 0])  # weeks; 1 is healed, 0 the last look
    >>> found.median
    8.0
    >>> [(point.time, point.at_risk, round(point.survival, 2)) for point in found.curve]
    [(3.0, 5, 0.8), (5.0, 4, 0.6), (8.0, 2, 0.3)]
    """
    times, marks = _checked(durations, events)
    if not 0.0 < confidence < 1.0:
        raise SurvivalError(f"confidence: {confidence:g} is not between 0 and 1")
    when, failed = np.unique(times[marks], return_counts=True)
    risk = _at_risk(times, when)
    from scipy import stats  # slow to import: only a process that counts pays for it

    estimate = stats.ecdf(stats.CensoredData.right_censored(times, ~marks)).sf
    with (
        warnings.catch_warnings()
    ):  # bounds are not a number where the share is 0 or 1; here they become None
        warnings.simplefilter("ignore", RuntimeWarning)
        bounds = estimate.confidence_interval(confidence, method="log-log")
    share, low, high = (f.evaluate(when) for f in (estimate, bounds.low, bounds.high))
    with np.errstate(divide="ignore", invalid="ignore"):
        error = share * np.sqrt(np.cumsum(failed / (risk * (risk - failed))))
    curve = tuple(
        SurvivalPoint(float(t), int(n), int(d), float(s), _known(e), _known(lo), _known(hi))
        for t, n, d, s, e, lo, hi in zip(when, risk, failed, share, error, low, high, strict=True)
    )
    # Where the share has reached 0 its lower bound has too, and its upper bound is not known.
    return KaplanMeier(
        n=int(times.size),
        events=int(failed.sum()),
        curve=curve,
        median=_first_at_most_half((p.time, p.survival) for p in curve),
        median_low=_first_at_most_half((p.time, 0.0 if p.low is None else p.low) for p in curve),
        median_high=_first_at_most_half((p.time, 1.0 if p.high is None else p.high) for p in curve),
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

    Examples
    --------
    >>> from clinic.healing.survival import at_risk
    >>> at_risk([3, 5, 5, 8, 10], times=[0, 5, 9])
    (5, 4, 1)
    """
    return tuple(_at_risk(_durations(durations), times).tolist())


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

    Examples
    --------
    >>> from clinic.healing.survival import logrank
    >>> sealed = ([4, 5, 6, 7], [1, 1, 1, 1])
    >>> opened = ([9, 10, 12, 12], [1, 1, 1, 0])
    >>> round(logrank([sealed, opened]).p, 3)
    0.007
    """
    if len(groups) < 2:
        return None
    checked = [_checked(durations, events) for durations, events in groups]
    when = np.unique(np.concatenate([times[marks] for times, marks in checked]))
    if when.size == 0:
        return None
    risk = np.array([_at_risk(times, when) for times, _ in checked], dtype=float)
    failed = np.zeros_like(risk)
    for j, (times, marks) in enumerate(checked):
        at, counts = np.unique(times[marks], return_counts=True)
        failed[j, np.searchsorted(when, at)] = counts
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


def _at_risk(durations: NDArray[np.float64], times: ArrayLike) -> NDArray[np.int64]:
    """How many are still observed just before each time."""
    return durations.size - np.searchsorted(np.sort(durations), np.asarray(times), side="left")


def _known(value: float) -> float | None:
    return None if math.isnan(value) else float(value)


def _first_at_most_half(steps: Iterable[tuple[float, float]]) -> float | None:
    return next((time for time, share in steps if share <= 0.5 + _ROUNDING), None)
