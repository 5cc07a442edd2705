"""Which courses fit the areas so far: a bank of filters over shapes, paces, noises and kinds of wound, many
wounds at once.

Each member keeps a level (radius or its logarithm) with its variance; between two areas the members exchange
weight as courses turn, and an area weighs them by how well each foresaw it. No random numbers.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from clinic.healing.series import Area
from clinic.healing.turning import AGITATION, SHAPES, Shape, first_paces, redrawn, turning

__all__ = ["NOISES", "Bank", "Steps", "filter_bank", "mix", "move", "steps_of"]

Floats = NDArray[np.float64]

NOISES = (0.35, 0.6, 1.0, 1.7)
"""Multiples of the stated measuring error that a course may show. Around 0.8, since the stated error is the
larger of two and small wounds scatter by less; design choice, tried at two values on the development set.
[-]"""

_NOISE_CHANCES = np.array([0.2, 0.3, 0.3, 0.2])
_ASTRAY, _ASTRAY_TIMES = 0.05, 3.0  # one area in twenty is off by three times the error; design choice
_LONGEST = 10.0  # days of one step; a longer gap is taken in equal parts
_LEAST_VARIANCE = 1e-9
_LEAST_RADIUS = 0.1  # mm; smaller rings cannot be drawn, and ln r has no end there


@dataclass(frozen=True, slots=True)
class Steps:
    """One wound as a row of steps.

    Parameters
    ----------
    days : tuple of float
        Length of each step; nought where a change of treatment falls on the day of an area. [d]
    areas : tuple of int
        Index of the area at the end of each step, −1 where there is none.
    redraws : tuple of bool
        Whether the treatment changed at the end of each step, after its area.
    """

    days: tuple[float, ...]
    areas: tuple[int, ...]
    redraws: tuple[bool, ...]


@dataclass(frozen=True, slots=True)
class Bank:
    """Weights and levels of one shape's members after the last area.

    Parameters
    ----------
    shape : Shape
        Kind of course.
    weight : (N, A, K) ndarray
        Chance of each agitation and pace given the areas; sums to 1 over all shapes. [-]
    level, variance : (N, A, K) ndarray
        Level and its variance.
    """

    shape: Shape
    weight: Floats
    level: Floats
    variance: Floats


def steps_of(days: Sequence[int], breaks: Sequence[int]) -> Steps:
    """Steps between the areas of one wound, cut at changes of treatment after its first area and until its
    last.

    Parameters
    ----------
    days : sequence of int
        Days of the areas, the first 0, strictly rising.
    breaks : sequence of int
        Days of changes, each above 0 and at most the last day.
    """
    stops = sorted({*days[1:], *breaks})
    at = {day: index for index, day in enumerate(days)}
    lengths: list[float] = []
    areas: list[int] = []
    redraws: list[bool] = []
    before = 0
    for stop in stops:
        parts = max(1, int(np.ceil((stop - before) / _LONGEST)))
        for part in range(parts):
            is_last = part == parts - 1
            lengths.append((stop - before) / parts)
            areas.append(at.get(stop, -1) if is_last else -1)
            redraws.append(is_last and stop in breaks)
        before = stop
    return Steps(tuple(lengths), tuple(areas), tuple(redraws))


def filter_bank(
    wounds: Sequence[tuple[Sequence[Area], Steps]],
    errors: Sequence[Sequence[float]],
    tilts: Floats | None = None,
) -> tuple[tuple[Bank, ...], Floats]:
    """Run the bank over the areas of many wounds.

    Parameters
    ----------
    wounds : sequence of (areas, Steps)
        At least one; each area above 0.
    errors : sequence of sequence of float
        Stated standard deviation of each radius. [mm]
    tilts : (N, S, K) ndarray or None
        Chances of the first paces of each wound and shape, where a prognosis moves them.

    Returns
    -------
    tuple of Bank
        One a shape.
    (N,) ndarray
        Log-likelihood of the radii after the first.
    """
    count, longest = len(wounds), max(len(steps.days) for _, steps in wounds)
    lengths = np.zeros((count, longest))
    radius, error = np.full((count, longest), np.nan), np.ones((count, longest))
    redraw = np.zeros((count, longest), dtype=bool)
    for row, (areas, steps) in enumerate(wounds):
        size = len(steps.days)
        lengths[row, :size], redraw[row, :size] = steps.days, steps.redraws
        for column, index in enumerate(steps.areas):
            if index >= 0:
                radius[row, column] = max(areas[index].radius, _LEAST_RADIUS)
                error[row, column] = errors[row][index]
    first = np.array([max(areas[0].radius, _LEAST_RADIUS) for areas, _ in wounds])
    first_error = np.array([errors[row][0] for row in range(count)])
    runs = []
    for number, shape in enumerate(SHAPES):
        prior = np.tile(first_paces(shape), (count, 1)) if tilts is None else tilts[:, number]
        runs.append(_one_shape(shape, prior, first, first_error, lengths, radius, error, redraw))
    top = np.max([run[3] for run in runs], axis=0)
    shares = [np.exp(run[3] - top) * shape.part for shape, run in zip(SHAPES, runs, strict=True)]
    total = np.sum(shares, axis=0)
    banks = []
    for shape, (weight, level, variance, _), share in zip(SHAPES, runs, shares, strict=True):
        # The noises are merged: what is to come does not depend on how areas scatter.
        merged = weight.sum(axis=1)
        safe = np.maximum(merged, 1e-300)
        mean = (weight * level).sum(axis=1) / safe
        square = (weight * (variance + (level - mean[:, None]) ** 2)).sum(axis=1) / safe
        banks.append(Bank(shape, merged * (share / total)[:, None, None], mean, square))
    return tuple(banks), top + np.log(total)


def _one_shape(
    shape: Shape,
    prior: Floats,
    first: Floats,
    first_error: Floats,
    lengths: Floats,
    radius: Floats,
    error: Floats,
    redraw: NDArray[np.bool_],
) -> tuple[Floats, Floats, Floats, Floats]:
    count, paces = first.size, np.array(shape.paces)
    size = (count, len(NOISES), len(AGITATION), paces.size)
    scale = np.array(NOISES)[None, :, None, None] ** 2
    observed = np.log(radius) if shape.is_share else radius
    spread = (error / np.maximum(radius, 0.5) if shape.is_share else error) ** 2
    start = np.log(first) if shape.is_share else first
    start_spread = (first_error / np.maximum(first, 0.5) if shape.is_share else first_error) ** 2
    weight = np.empty(size)
    weight[:] = _NOISE_CHANCES[None, :, None, None] / len(AGITATION) * prior[:, None, None, :]
    level = np.empty(size)
    level[:] = start[:, None, None, None]
    variance = np.empty(size)
    variance[:] = start_spread[:, None, None, None] * scale
    loglik = np.zeros(count)
    for column in range(lengths.shape[1]):
        step = np.round(2.0 * lengths[:, column]).astype(int)
        for half_days in np.unique(step[step > 0]):
            on = np.flatnonzero(step == half_days)
            weight[on], level[on], variance[on] = move(
                shape, weight[on], level[on], variance[on], int(half_days)
            )
        seen = np.flatnonzero(~np.isnan(radius[:, column]))
        if seen.size:
            weight[seen], level[seen], variance[seen], gained = _weigh(
                weight[seen],
                level[seen],
                variance[seen],
                observed[seen, column][:, None, None, None],
                spread[seen, column][:, None, None, None] * scale,
            )
            loglik[seen] += gained
            if shape.is_share:
                loglik[seen] -= np.log(radius[seen, column])  # the density of ln r becomes one of r
        if (fresh := np.flatnonzero(redraw[:, column])).size:
            weight[fresh], level[fresh], variance[fresh] = mix(
                weight[fresh], level[fresh], variance[fresh], redrawn(shape)
            )
    return weight, level, variance, loglik


def move(
    shape: Shape, weight: Floats, level: Floats, variance: Floats, half_days: int
) -> tuple[Floats, Floats, Floats]:
    """Members some days later: they turn, then go on at their pace.

    Parameters
    ----------
    shape : Shape
        Kind of course.
    weight, level, variance : (..., A, K) ndarray
        Members by agitation and pace.
    half_days : int
        Twice the days.

    Returns
    -------
    three (..., A, K) ndarray
        The same, later. Levels that meet in one pace are merged by mean and variance (interacting multiple
        models: Blom HAP, Bar-Shalom Y, IEEE Trans Automat Contr 1988;33:780-783).
    """
    moved = [
        mix(weight[..., a, :], level[..., a, :], variance[..., a, :], turning(shape, agitation, half_days))
        for a, agitation in enumerate(AGITATION)
    ]
    new, mean, spread = (np.stack([one[part] for one in moved], axis=-2) for part in range(3))
    days = half_days / 2.0
    return new, mean - np.array(shape.paces) * days / 7.0, spread + shape.level_noise * days


def mix(weight: Floats, level: Floats, variance: Floats, chances: Floats) -> tuple[Floats, Floats, Floats]:
    """Members after their paces were drawn again by a table of chances; levels merged by mean and
    variance."""
    new = weight @ chances
    safe = np.maximum(new, 1e-300)
    # Levels are taken from that of the whole first, so that squares lose no digits.
    centre = level.mean(axis=-1, keepdims=True)
    apart = level - centre
    mean = ((weight * apart) @ chances) / safe
    square = ((weight * (variance + apart**2)) @ chances) / safe
    return new, centre + mean, np.maximum(square - mean**2, _LEAST_VARIANCE)


def _weigh(
    weight: Floats, level: Floats, variance: Floats, observed: Floats, spread: Floats
) -> tuple[Floats, Floats, Floats, Floats]:
    """Members after an area; one in twenty areas is taken for one far off its course."""
    gap = observed - level
    plain, wide = variance + spread, variance + spread * _ASTRAY_TIMES**2
    likely = (1.0 - _ASTRAY) * np.exp(-0.5 * gap**2 / plain) / np.sqrt(2.0 * np.pi * plain)
    strayed = _ASTRAY * np.exp(-0.5 * gap**2 / wide) / np.sqrt(2.0 * np.pi * wide)
    both = likely + strayed + 1e-12
    share = strayed / both
    gain, wide_gain = variance / plain, variance / wide
    mean = gain * (1.0 - share) + wide_gain * share
    shift = mean * gap
    between = (1.0 - share) * share * ((gain - wide_gain) * gap) ** 2
    left = variance * ((1.0 - share) * (1.0 - gain) + share * (1.0 - wide_gain)) + between
    new = weight * both
    total = new.sum(axis=(1, 2, 3), keepdims=True)
    return new / total, level + shift, np.maximum(left, _LEAST_VARIANCE), np.log(total[:, 0, 0, 0])
