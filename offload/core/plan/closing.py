"""At which load the void under a lesion closes, and in which joint draws.

The load is found on the plan's own cells: a thin roof over a wide void sags earlier on coarse ones.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from offload.core.plan.interpolation import parabola
from offload.core.plan.scene import Scene
from offload.core.plan.trial import Trial
from offload.core.pressure.foundation import Settled

__all__ = ["closes"]

Array = NDArray[np.float64]

CLOSING = 1e-3
"""Residual left where a closing load is looked for: a roof that nothing presses hangs on little."""
NEARLY, WIDTH, LIGHTER = 0.1, 1.03, 0.6
"""A closing load is carried on from a void that is open by less than this share of its depth, or from one
open at a load no further than this below one that closes; while none is open, so much of a load comes next.
"""


def closes(scene: Scene, own: Trial, load: Array, tissue: Array, tissues: Array) -> NDArray[np.bool_]:
    """Whether a plan's void closes under each lesion in each draw, shape ``(lesions, n)``.

    Parameters
    ----------
    scene, own
        The plan's cut on its own cells.
    load, tissue
        Factors of each draw upon load and tissue, over that upon foam, shape ``(n,)``.
    tissues
        Three factors upon the tissue at which the closing load is looked for, the middle one 1.
    """
    at = np.log(tissues)
    where = np.clip(np.log(tissue), at[0], at[-1])
    span = LIGHTER**2 * float(load.min()), float(load.max()) / LIGHTER
    rows = []
    for index, name in enumerate(scene.case_names):
        central, near = _closing(scene, own, index, span, 1.0, 1.0, own.states[name])
        # A void closes at about the root of the tissue's stiffness; a little below that it is open still.
        found = [
            central
            if one == 1.0
            else _closing(scene, own, index, span, one, 0.95 * central * one**0.5, near)[0]
            for one in tissues.tolist()
        ]
        rows.append(load >= np.exp(parabola(at, [np.log(one) for one in found], where)))
    return np.array(rows)


def _closing(
    scene: Scene,
    own: Trial,
    index: int,
    span: tuple[float, float],
    softness: float,
    load: float,
    start: Settled,
) -> tuple[float, Settled]:
    """By what the load must be multiplied for the void under a lesion to close, at a tissue, and the last
    state before that; looked for from a load and a state.

    Notes
    -----
    Open voids only are carried on, since a closed one hardly moves: along the chord from the unloaded void or
    the last two. Beyond the span of loads that are drawn the search ends, and what it has is told.
    """
    name = scene.case_names[index]
    share = scene.coverage(scene.spec.lesions[index], name)
    cells = share >= min(0.5, float(share.max()))
    low, high = span
    closed, open_at = math.inf, [(0.0, float(own.voids[name].depth_mm[cells].max()))]
    depth = open_at[0][1]
    while low <= load <= high and closed > WIDTH * open_at[-1][0] and open_at[-1][1] > NEARLY * depth:
        case, void = scene.case(name), own.voids[name]
        if load != 1.0:
            case = case.scaled(load)
            void = void.under(case.baseline.pressure_kpa)
        state = case.press(void, scene.tissue * softness, start.as_start(), CLOSING)
        left = float((void.depth_mm - state.roof[0])[cells].min())
        if left > 0.0:
            open_at.append((load, left))
            start = state
        else:
            closed = load
        if len(open_at) == 1:
            load = LIGHTER * closed
            continue
        load = _carried_on(open_at, NEARLY / 2.0 * depth)
        if load >= closed:
            load = float(np.sqrt(closed * open_at[-1][0]))
    return (load if len(open_at) == 1 else min(_carried_on(open_at, 0.0), closed)), start


def _carried_on(open_at: Sequence[tuple[float, float]], left_mm: float) -> float:
    """The load at which so much of a void is left, along the chord of its last two loads."""
    (before, wide), (last, narrow) = open_at[-2:]
    # A void that did not get narrower is taken to close late.
    slope = max(wide - narrow, 1e-3 * wide) / (last - before)
    return last + (narrow - left_mm) / slope
