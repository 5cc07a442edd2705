"""Log-rank test within strata: groups are compared only with their like, and the comparisons are added."""

from collections.abc import Hashable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import chdtrc

from clinic.healing.errors import SurvivalError

__all__ = ["StratifiedTest", "stratified_logrank"]

Floats = NDArray[np.float64]
_ROUNDING = 1e-12


@dataclass(frozen=True, slots=True)
class StratifiedTest:
    """Result of the test.

    Parameters
    ----------
    chi2 : float
        Test statistic. [-]
    df : int
        Degrees of freedom.
    p : float
        Upper tail of the chi-squared law. [-]
    observed, expected : tuple of float
        Events per group in order of its name, and those expected if all groups of a stratum were one.
    strata : int
        Strata in which groups could be compared.
    """

    chi2: float
    df: int
    p: float
    observed: tuple[float, ...]
    expected: tuple[float, ...]
    strata: int


def stratified_logrank(
    durations: ArrayLike, events: ArrayLike, groups: Sequence[Hashable], strata: Sequence[Hashable]
) -> StratifiedTest | None:
    """Test that groups share one hazard in every stratum.

    Parameters
    ----------
    durations, events : (N,) array_like
        As for ``kaplan_meier``.
    groups, strata : sequence of N names
        Group and stratum of each subject.

    Returns
    -------
    StratifiedTest or None
        None where no stratum has two groups at risk together at an event.

    Raises
    ------
    SurvivalError
        If the counts differ, a duration is negative or not finite, or an event mark is neither 0 nor 1.

    Notes
    -----
    χ² = (Σ U)ᵀ (Σ V)⁻ (Σ U) over strata, U and V those of the log-rank test of each [1]_; hazards may differ
    between strata in any way.

    References
    ----------
    .. [1] Mantel N, Cancer Chemother Rep 1966;50:163-170.
    """
    times, marks = np.asarray(durations, dtype=float), np.asarray(events)
    if not (times.ndim == 1 and times.size == marks.size == len(groups) == len(strata)):
        raise SurvivalError(
            f"durations, events, groups, strata: {times.size}, {marks.size}, {len(groups)} and "
            f"{len(strata)} given, the counts must be equal"
        )
    if times.size and not (np.isfinite(times).all() and times.min() >= 0):
        raise SurvivalError("durations: one is not a finite number of 0 or more")
    if not np.isin(marks, (0, 1)).all():
        raise SurvivalError("events: one is neither 0 nor 1")
    names = sorted(set(groups), key=str)
    place = np.array([names.index(name) for name in groups], dtype=int)
    numbers = {name: number for number, name in enumerate(dict.fromkeys(strata))}
    stratum = np.array([numbers[name] for name in strata], dtype=int)
    observed, expected = np.zeros(len(names)), np.zeros(len(names))
    covariance, used = np.zeros((len(names), len(names))), 0
    for one in np.unique(stratum):
        on = stratum == one
        seen, hoped, spread = _one_stratum(times[on], marks[on].astype(bool), place[on], len(names))
        observed, expected, covariance = observed + seen, expected + hoped, covariance + spread
        used += int(np.diag(spread).max(initial=0.0) > _ROUNDING)
    kept = np.flatnonzero(np.diag(covariance) > _ROUNDING)[:-1]
    if kept.size == 0:
        return None
    difference, part = (observed - expected)[kept], covariance[np.ix_(kept, kept)]
    chi2 = max(0.0, float(difference @ np.linalg.pinv(part, hermitian=True) @ difference))
    df = int(np.linalg.matrix_rank(part, hermitian=True))
    return StratifiedTest(
        chi2, df, float(chdtrc(df, chi2)), tuple(observed.tolist()), tuple(expected.tolist()), used
    )


def _one_stratum(
    times: Floats, marks: NDArray[np.bool_], place: NDArray[np.int_], count: int
) -> tuple[Floats, Floats, Floats]:
    when = np.unique(times[marks])
    risk, failed = np.zeros((count, when.size)), np.zeros((count, when.size))
    for group in range(count):
        own = np.sort(times[place == group])
        risk[group] = own.size - np.searchsorted(own, when, side="left")
        ends = np.sort(times[marks & (place == group)])
        failed[group] = np.searchsorted(ends, when, side="right") - np.searchsorted(ends, when, side="left")
    total, gone = risk.sum(axis=0), failed.sum(axis=0)
    share = risk / np.maximum(total, 1.0)
    spread = np.where(total > 1, gone * (total - gone) / np.maximum(total - 1.0, 1.0), 0.0)
    covariance = np.diag((share * spread).sum(axis=1)) - (share * spread) @ share.T
    return failed.sum(axis=1), (share * gone).sum(axis=1), covariance
