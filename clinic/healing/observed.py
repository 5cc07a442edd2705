"""How far a group was watched, and what may be said up to there: the restricted mean, and where a curve
ends."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtri

from clinic.healing.errors import SurvivalError
from clinic.healing.survival import KaplanMeier, kaplan_meier

__all__ = [
    "LEAST_OBSERVED",
    "NOT_OBSERVED",
    "RestrictedMean",
    "known_until",
    "restricted_mean",
    "share_at",
    "watched_until",
]

LEAST_OBSERVED = 5
"""Subjects that must still be observed for a curve or a share to go on: the clinic's rule for small numbers;
common practice, no source. [-]"""

NOT_OBSERVED = "not observed that long"
"""What stands in the place of a figure beyond follow-up."""


@dataclass(frozen=True, slots=True)
class RestrictedMean:
    """Mean time without the event, up to a limit.

    Parameters
    ----------
    until : float
        The limit. [unit of the durations]
    mean, error : float
        Mean of the smaller of time to event and limit, and its standard error. [same unit]
    low, high : float
        95 % interval. [same unit]
    """

    until: float
    mean: float
    error: float
    low: float
    high: float


def watched_until(durations: ArrayLike, least: int = LEAST_OBSERVED) -> float | None:
    """Last time at which at least so many subjects are still observed.

    Parameters
    ----------
    durations : (N,) array_like
        Durations of one group. [any one unit]
    least : int
        Subjects, at least 1.

    Returns
    -------
    float or None
        None where the group is smaller than that.

    Raises
    ------
    SurvivalError
        If ``least`` is under 1, or a duration is negative or not finite.
    """
    times = np.asarray(durations, dtype=float).ravel()
    if least < 1:
        raise SurvivalError(f"least: {least} given, at least 1")
    if times.size and not (np.isfinite(times).all() and times.min() >= 0):
        raise SurvivalError("durations: one is not a finite number of 0 or more")
    return None if times.size < least else float(np.sort(times)[-least])


def known_until(durations: ArrayLike, events: ArrayLike, least: int = LEAST_OBSERVED) -> float | None:
    """Last time up to which a group's shares are shown.

    Parameters
    ----------
    durations, events : (N,) array_like
        As for ``kaplan_meier``; an event is any ending that was seen.
    least : int
        As for ``watched_until``.

    Returns
    -------
    float or None
        None where the group is smaller than that; infinite where every ending was seen.

    Raises
    ------
    SurvivalError
        As for ``watched_until``.

    Notes
    -----
    Who ended was not lost from sight: up to the first time anybody was censored the state of the whole group
    is known, and a share is a plain count of it, however few are still open. Beyond that it is an estimate
    from those still observed, and ends where fewer than ``least`` are.
    """
    watched = watched_until(durations, least)
    if watched is None:
        return None
    times, marks = np.asarray(durations, dtype=float).ravel(), np.asarray(events).ravel().astype(bool)
    return max(watched, float(times[~marks].min(initial=np.inf)))


def share_at(
    durations: ArrayLike, events: ArrayLike, time: float, least: int = LEAST_OBSERVED
) -> float | None:
    """Share without the event at a time.

    Parameters
    ----------
    durations, events : (N,) array_like
        As for ``kaplan_meier``.
    time : float
        Time asked. [same unit]
    least : int
        As for ``watched_until``.

    Returns
    -------
    float or None
        None beyond ``known_until``: screens then say ``NOT_OBSERVED``.
        [-]
    """
    end = known_until(durations, events, least)
    return None if end is None or time > end else kaplan_meier(durations, events).survival_at(time)


def restricted_mean(
    durations: ArrayLike, events: ArrayLike, until: float, least: int = LEAST_OBSERVED
) -> RestrictedMean | None:
    """Mean time without the event up to a limit, by the area under the product-limit curve.

    Parameters
    ----------
    durations, events : (N,) array_like
        As for ``kaplan_meier``.
    until : float
        Limit; above 0. [unit of the durations]
    least : int
        As for ``watched_until``.

    Returns
    -------
    RestrictedMean or None
        None where the limit lies beyond ``known_until``.

    Raises
    ------
    SurvivalError
        If the limit is not above 0, or the data break a rule of ``kaplan_meier``.

    Notes
    -----
    μ = ∫₀^τ S dt; var μ = Σ over events tᵢ ≤ τ of A(tᵢ)² dᵢ/(nᵢ(nᵢ − dᵢ)), A(t) = ∫ₜ^τ S du [1]_. It needs
    no proportional hazards, and days are what a person asks for.

    References
    ----------
    .. [1] Klein JP, Moeschberger ML, Survival analysis, 2nd ed. 2003, section 4.5 (from memory).
    """
    if not until > 0:
        raise SurvivalError(f"until: {until:g} is not above 0")
    estimate: KaplanMeier = kaplan_meier(durations, events)
    end = known_until(durations, events, least)
    if end is None or until > end:
        return None
    inside = [point for point in estimate.curve if point.time < until]
    when = np.array([0.0, *(point.time for point in inside), until])
    share = np.array([1.0, *(point.survival for point in inside)])
    pieces = np.diff(when) * share
    beyond = np.cumsum(pieces[::-1])[::-1][1:]
    risk = np.array([point.at_risk for point in inside], dtype=float)
    failed = np.array([point.events for point in inside], dtype=float)
    left = np.maximum(risk - failed, 1.0)  # where all failed nothing lies beyond, so the term is 0
    error = float(np.sqrt((beyond**2 * failed / (risk * left)).sum()))
    mean, reach = float(pieces.sum()), float(ndtri(0.975)) * error
    return RestrictedMean(until, mean, error, max(0.0, mean - reach), min(until, mean + reach))
