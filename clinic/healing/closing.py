"""From where a course stands today to the day it closes: one table for all wounds, by weeks backwards."""

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_matrix
from scipy.special import ndtr, ndtri

from clinic.healing.bank import Bank
from clinic.healing.turning import AGITATION, SHAPES, Shape, turning

__all__ = ["WEEKS", "closing_table", "closing_weeks", "paced_chances"]

Floats = NDArray[np.float64]

WEEKS = 52
"""Weeks ahead that the law of the closing date covers."""

_NODES = 5
_WIDEST = 200.0  # mm: more than the largest area taken


@lru_cache(maxsize=8)
def _levels(shape: Shape) -> Floats:
    """Levels of the table, finer near closing."""
    if shape.is_share:
        return np.linspace(shape.shut, np.log(_WIDEST), 190)
    near = np.arange(shape.shut, 20.0, 0.15)
    return np.concatenate([near, np.geomspace(near[-1] + 0.2, _WIDEST, 40)])


def _between(levels: Floats, at: Floats) -> tuple[NDArray[np.int64], Floats]:
    """Index below and share of the next one, for interpolation; ends hold beyond the table."""
    index = np.clip(np.searchsorted(levels, at) - 1, 0, levels.size - 2)
    share = np.clip((at - levels[index]) / (levels[index + 1] - levels[index]), 0.0, 1.0)
    return index, share


@lru_cache(maxsize=8)
def closing_table(shape: Shape) -> Floats:
    """Chance of being closed after 0 to 52 weeks.

    Parameters
    ----------
    shape : Shape
        Kind of course.

    Returns
    -------
    (A, K, L, 53) ndarray
        By agitation, pace and level today. [-]

    Notes
    -----
    V₀ = 1 where closed, else 0; V of one week more = Σ over the pace of that week of its chance × V at the
    level that pace leaves, over three nodes of the level's noise; a wound that has closed stays closed. So
    every path of turns is in it.
    """
    levels = _levels(shape)
    noise = np.sqrt(7.0 * shape.level_noise)
    nodes = ((-np.sqrt(3.0) * noise, 1 / 6), (0.0, 2 / 3), (np.sqrt(3.0) * noise, 1 / 6))
    shut = levels <= shape.shut
    week_on = [_week_on(levels, pace, nodes) for pace in shape.paces]
    tables = []
    for agitation in AGITATION:
        chances = turning(shape, agitation, 14)
        now = np.zeros((len(shape.paces), levels.size))
        now[:, shut] = 1.0
        weeks = [now]
        for _ in range(WEEKS):
            now = chances @ np.stack([there @ now[k] for k, there in enumerate(week_on)])
            now[:, shut] = 1.0
            weeks.append(now)
        tables.append(np.stack(weeks, axis=-1))
    return np.stack(tables)


def _week_on(levels: Floats, pace: float, nodes: tuple[tuple[float, float], ...]) -> csr_matrix:
    """Matrix that reads a table at the levels one week later at one pace."""
    rows, columns, parts = [], [], []
    for offset, part in nodes:
        index, share = _between(levels, levels - pace + offset)
        rows += [np.arange(levels.size)] * 2
        columns += [index, index + 1]
        parts += [part * (1.0 - share), part * share]
    where = (np.concatenate(rows), np.concatenate(columns))
    return csr_matrix((np.concatenate(parts), where), shape=(levels.size, levels.size))


def closing_weeks(banks: tuple[Bank, ...]) -> Floats:
    """Chance of having closed by each week ahead, given that the wound is open now.

    Parameters
    ----------
    banks : tuple of Bank
        From ``filter_bank``.

    Returns
    -------
    (N, 53) ndarray
        Never falling along the weeks, 0 in week 0. [-]
    """
    count = banks[0].weight.shape[0]
    law, open_now = np.zeros((count, WEEKS + 1)), np.zeros(count)
    for bank in banks:
        found, total = _one_shape(bank)
        law += found
        open_now += total
    law /= np.maximum(open_now, 1e-12)[:, None]
    law[:, 0] = 0.0
    return np.clip(np.maximum.accumulate(law, axis=1), 0.0, 1.0)


def _one_shape(bank: Bank) -> tuple[Floats, Floats]:
    levels, table = _levels(bank.shape), closing_table(bank.shape)
    count, agitations, paces = bank.weight.shape
    spread = np.sqrt(bank.variance)
    below = ndtr((bank.shape.shut - bank.level) / spread)
    share_open = 1.0 - below
    places = (np.arange(_NODES) + 0.5) / _NODES
    at = ndtri(np.clip(below[..., None] + share_open[..., None] * places, 1e-9, 1.0 - 1e-9))
    level = bank.level[..., None] + spread[..., None] * at
    weight = np.broadcast_to((bank.weight * share_open)[..., None] / _NODES, level.shape)
    index, share = _between(levels, np.maximum(level, bank.shape.shut))
    member = (np.arange(agitations)[:, None] * paces + np.arange(paces)) * levels.size
    column = member[None, :, :, None] + index
    row = np.broadcast_to(np.arange(count)[:, None, None, None], column.shape)
    places_of = csr_matrix(
        (
            np.concatenate([(weight * (1.0 - share)).ravel(), (weight * share).ravel()]),
            (np.concatenate([row.ravel()] * 2), np.concatenate([column.ravel(), column.ravel() + 1])),
        ),
        shape=(count, agitations * paces * levels.size),
    )
    return places_of @ table.reshape(-1, WEEKS + 1), (bank.weight * share_open).sum(axis=(1, 2))


def paced_chances(radius: Floats, weeks: int) -> Floats:
    """Chance of closing within some weeks at each first pace.

    Parameters
    ----------
    radius : (N,) ndarray
        Radius now. [mm]
    weeks : int
        At most 52.

    Returns
    -------
    (N, S, K) ndarray
        Mean over quiet and restless wounds. [-]
    """
    answers = []
    for shape in SHAPES:
        levels, table = _levels(shape), closing_table(shape)[..., weeks].mean(axis=0)
        index, share = _between(levels, np.log(radius) if shape.is_share else radius)
        answers.append((table[:, index] * (1.0 - share) + table[:, index + 1] * share).T)
    return np.stack(answers, axis=1)
