"""Cumulative incidence with intervals from drawing people again: several lesions of one person are not
independent.
"""

from collections.abc import Hashable, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike

from clinic.healing.errors import SurvivalError
from clinic.healing.incidence import Incidence, cumulative_incidence

__all__ = ["REPEATS", "incidence_by_people"]

REPEATS = 1000
"""Draws; with fewer the ends of a 95 % interval rest on too few of them (design choice)."""

_SEED = 20260101  # the same record gives the same page
_CELLS = 4_000_000  # weights held at once


def incidence_by_people(
    durations: ArrayLike,
    endings: Sequence[Hashable | None],
    causes: Sequence[Hashable],
    people: Sequence[Hashable],
    confidence: float = 0.95,
    repeats: int = REPEATS,
) -> tuple[Incidence, ...]:
    """Aalen-Johansen estimate of each cause, intervals by resampling people with all their lesions.

    Parameters
    ----------
    durations : (N,) array_like
        Time of each lesion to its ending or to the last look. [any one unit]
    endings : sequence of hashable or None
        Cause of each ending, None where censored.
    causes : sequence of hashable
        All causes, in the order wanted.
    people : sequence of hashable
        Whose lesion each is.
    confidence : float
        Two-sided coverage of the intervals, between 0 and 1. [-]
    repeats : int
        Draws, at least 100.

    Returns
    -------
    tuple of Incidence
        One per cause: shares as `cumulative_incidence` gives them, `error` the standard deviation over the
        draws, `low` and `high` their percentiles; None where the share is 0 or 1, or all lesions belong to
        one person.

    Raises
    ------
    SurvivalError
        As `cumulative_incidence`; if the counts differ or there are too few draws.

    Notes
    -----
    Each draw takes as many people as there are, with replacement, every one with all lesions; a lesion drawn
    k times counts as k in Σ S(tᵢ₋) d_kᵢ/nᵢ. Percentile intervals [1]_ of draws of whole clusters [2]_. With
    few people they are somewhat too narrow.

    References
    ----------
    .. [1] Efron B, Tibshirani RJ, An introduction to the bootstrap, 1993, ch. 13.
    .. [2] Field CA, Welsh AH, J R Stat Soc B 2007;69:369-390 (from memory).
    """
    plain = cumulative_incidence(durations, endings, causes, confidence)
    times = np.asarray(durations, dtype=float)
    if len(people) != times.size:
        raise SurvivalError(
            f"people: {len(people)} given for {times.size} durations, the counts must be equal"
        )
    if repeats < 100:
        raise SurvivalError(f"repeats: {repeats} given, at least 100 needed")
    own = {person: k for k, person in enumerate(dict.fromkeys(people))}
    when = np.array([point.time for point in plain[0].curve])
    if len(own) < 2 or not when.size:
        return tuple(
            replace(one, curve=tuple(replace(p, error=None, low=None, high=None) for p in one.curve))
            for one in plain
        )
    order = np.argsort(times, kind="stable")
    sorted_times = times[order]
    whose = np.array([own[person] for person in people])[order]
    code = np.array([-1 if e is None else list(causes).index(e) for e in endings])[order]
    first = np.searchsorted(sorted_times, when, side="left")
    step = np.searchsorted(when, sorted_times)
    rng = np.random.default_rng(_SEED)
    drawn = np.empty((len(causes), repeats, when.size))
    chunk = max(1, _CELLS // times.size)
    for start in range(0, repeats, chunk):
        size = min(chunk, repeats - start)
        people_drawn = rng.multinomial(len(own), np.full(len(own), 1.0 / len(own)), size=size)
        weights = people_drawn[:, whose].astype(float)
        drawn[:, start : start + size] = _shares(weights, code, step, first, len(causes), when.size)
    tail = (1.0 - confidence) / 2.0
    answer = []
    for one, shares in zip(plain, drawn, strict=True):
        low, high = np.quantile(shares, [tail, 1.0 - tail], axis=0)
        error = shares.std(axis=0, ddof=1)
        curve = tuple(
            p if p.low is None else replace(p, error=float(e), low=float(a), high=float(b))
            for p, e, a, b in zip(one.curve, error, low, high, strict=True)
        )
        answer.append(replace(one, curve=curve))
    return tuple(answer)


def _shares(
    weights: np.ndarray, code: np.ndarray, step: np.ndarray, first: np.ndarray, causes: int, steps: int
) -> np.ndarray:
    """Shares by cause, draw and step of lesions in the order of their times, each counted `weights` times."""
    before = np.concatenate([np.zeros((weights.shape[0], 1)), np.cumsum(weights, axis=1)], axis=1)
    risk = before[:, -1:] - before[:, first]
    counts = np.zeros((causes, weights.shape[0], steps))
    for cause in range(causes):
        members = np.flatnonzero(code == cause)
        if members.size:
            places, starts = np.unique(step[members], return_index=True)
            counts[cause][:, places] = np.add.reduceat(weights[:, members], starts, axis=1)
    hazard = np.divide(counts, risk, out=np.zeros_like(counts), where=risk > 0)
    left = np.cumprod(1.0 - hazard.sum(axis=0), axis=1)
    free = np.concatenate([np.ones((weights.shape[0], 1)), left[:, :-1]], axis=1)
    return np.cumsum(free * hazard, axis=2)
