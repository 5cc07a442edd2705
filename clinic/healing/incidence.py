"""Cumulative incidence where one ending prevents the others: healed, amputated, died."""

from collections.abc import Hashable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtri

from clinic.healing.errors import SurvivalError

__all__ = ["Incidence", "IncidencePoint", "cumulative_incidence"]


@dataclass(frozen=True, slots=True)
class IncidencePoint:
    """One step of one cause.

    Parameters
    ----------
    time : float
        Time of at least one ending of any cause. [unit of the durations]
    at_risk, events : int
        Subjects without any ending just before it, and endings of this cause at it.
    incidence : float
        Share that has ended in this way by then. [-]
    error, low, high : float or None
        Standard error and log-log interval; None where the share is 0 or 1. [-]
    """

    time: float
    at_risk: int
    events: int
    incidence: float
    error: float | None
    low: float | None
    high: float | None


@dataclass(frozen=True, slots=True)
class Incidence:
    """Cumulative incidence of one cause.

    Parameters
    ----------
    cause : hashable
        As given.
    events : int
        Endings in this way.
    curve : tuple of IncidencePoint
        One step per distinct time at which anyone ended.
    """

    cause: Hashable
    events: int
    curve: tuple[IncidencePoint, ...]

    def at(self, time: float) -> float:
        """Share that has ended in this way by a time. [-]"""
        share = 0.0
        for point in self.curve:
            if point.time > time:
                break
            share = point.incidence
        return share

    def over(self, unit: float) -> "Incidence":
        """The same with its times counted in another unit, so many of the old one long."""
        return replace(self, curve=tuple(replace(p, time=p.time / unit) for p in self.curve))


def cumulative_incidence(
    durations: ArrayLike,
    endings: Sequence[Hashable | None],
    causes: Sequence[Hashable],
    confidence: float = 0.95,
) -> tuple[Incidence, ...]:
    """Aalen-Johansen estimate of each cause.

    Parameters
    ----------
    durations : (N,) array_like
        Time to the ending or to the last look. [any one unit]
    endings : sequence of hashable or None
        Cause of each ending, None where censored.
    causes : sequence of hashable
        All causes, in the order wanted.
    confidence : float
        Two-sided coverage of the intervals, between 0 and 1. [-]

    Returns
    -------
    tuple of Incidence
        One per cause.

    Raises
    ------
    SurvivalError
        If there is no subject, counts differ, a duration is negative or not finite, a cause is unknown or
        given twice, or the confidence is not between 0 and 1.

    Notes
    -----
    I_k(t) = Σ S(tᵢ₋) d_kᵢ/nᵢ with S the Kaplan-Meier estimate of no ending at all [1]_; the causes and S add
    up to
    1. 1 − Kaplan-Meier with the other causes censored is larger, since it lets the dead heal later. Variance
       by the delta method,
    Σ [I(t) − I(tᵢ)]² dᵢ/(nᵢ(nᵢ − dᵢ)) + Σ S(tᵢ₋)² d_kᵢ(nᵢ − d_kᵢ)/nᵢ³ − 2 Σ [I(t) − I(tᵢ)] S(tᵢ₋) d_kᵢ/nᵢ²
    [2]_.

    References
    ----------
    .. [1] Aalen OO, Johansen S, Scand J Stat 1978;5:141-150.
    .. [2] Marubini E, Valsecchi MG, Analysing survival data from clinical trials and observational studies,
    1995,
       ch. 10 (formula from memory; with one cause it is Greenwood's, which a test holds).

    Examples
    --------
    >>> from clinic.healing.incidence import cumulative_incidence
    >>> endings = ['healed', 'died', 'healed', None]
    >>> for found in cumulative_incidence([3, 5, 8, 10], endings, ['healed', 'died']):
    ...     print(found.cause, [(point.time, round(point.incidence, 2)) for point in found.curve])
    healed [(3.0, 0.25), (5.0, 0.25), (8.0, 0.5)]
    died [(3.0, 0.0), (5.0, 0.25), (8.0, 0.25)]
    """
    times = np.asarray(durations, dtype=float)
    if times.ndim != 1 or times.size == 0:
        raise SurvivalError(f"durations: {times.size} given, at least 1 in one row needed")
    if len(endings) != times.size:
        raise SurvivalError(
            f"endings: {len(endings)} given for {times.size} durations, the counts must be equal"
        )
    bad = ~(np.isfinite(times) & (times >= 0))
    if bad.any():
        raise SurvivalError(f"durations: {times[bad][0]:g} is not a finite number of 0 or more")
    if len(set(causes)) != len(causes):
        raise SurvivalError("causes: one is given 2 times, at most 1")
    unknown = [ending for ending in endings if ending is not None and ending not in causes]
    if unknown:
        raise SurvivalError(
            f"endings: {unknown[0]} is not one of {', '.join(str(cause) for cause in causes)}"
        )
    if not 0.0 < confidence < 1.0:
        raise SurvivalError(f"confidence: {confidence:g} is not between 0 and 1")
    code = np.array([-1 if ending is None else list(causes).index(ending) for ending in endings])
    when = np.unique(times[code >= 0])
    risk = times.size - np.searchsorted(np.sort(times), when, side="left")
    counts = np.zeros((len(causes), when.size))
    np.add.at(counts, (code[code >= 0], np.searchsorted(when, times[code >= 0])), 1.0)
    total = counts.sum(axis=0)
    free = np.concatenate([[1.0], np.cumprod(1.0 - total / risk)[:-1]]) if when.size else np.empty(0)
    # Where everyone left ends at once the first term is 0·∞: nothing can follow, so it is 0.
    with np.errstate(divide="ignore"):
        greenwood = np.where(risk > total, total / (risk * np.maximum(risk - total, 1e-300)), 0.0)
    z = float(ndtri(0.5 + confidence / 2.0))
    answer = []
    for cause, own in zip(causes, counts, strict=True):
        share = np.cumsum(free * own / risk)
        cross = free * own / risk**2
        variance = (
            share**2 * np.cumsum(greenwood)
            - 2.0 * share * np.cumsum(share * greenwood)
            + np.cumsum(share**2 * greenwood)
            + np.cumsum(free**2 * own * (risk - own) / risk.astype(float) ** 3)
            - 2.0 * (share * np.cumsum(cross) - np.cumsum(share * cross))
        )
        error = np.sqrt(np.maximum(variance, 0.0))
        answer.append(Incidence(cause, int(own.sum()), _curve(when, risk, own, share, error, z)))
    return tuple(answer)


def _curve(
    when: np.ndarray, risk: np.ndarray, own: np.ndarray, share: np.ndarray, error: np.ndarray, z: float
) -> tuple[IncidencePoint, ...]:
    points = []
    for i in range(when.size):
        value = min(1.0, float(share[i]))
        known = 0.0 < value < 1.0 - 1e-12
        low = high = None
        if known:
            width = z * float(error[i]) / (value * np.log(value))
            low, high = float(value ** np.exp(-width)), float(value ** np.exp(width))
        points.append(
            IncidencePoint(
                float(when[i]),
                int(risk[i]),
                int(own[i]),
                value,
                float(error[i]) if known else None,
                low,
                high,
            )
        )
    return tuple(points)
