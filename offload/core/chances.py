"""What a plan leaves when its inputs are uncertain: intervals, and the chances that a void closes or another cut relieves more.

The same draws stand for every cut (common random numbers). A cut is solved at a few loads and tissues on coarse cells and
interpolated between; a foam that is harder by some factor is the same as load and tissue softer by it and pressures larger
by it, since the equations have no other stiffness. Places count by the slope of what is left against a small move.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator

from offload.core.foundation import Settled, Start
from offload.core.plan import LesionPressure
from offload.core.scene import Scene
from offload.core.spread import Draws, draws_of, spread_of
from offload.core.trial import Trial

__all__ = ["Chances", "Response"]

Array = NDArray[np.float64]

LOADS = (-1.8, -0.9, 0.0, 0.9, 1.8)
"""Loads at which a cut is solved, in standard deviations of load over foam."""
TISSUES = (-1.9, 0.0, 1.9)
"""The same of tissue over foam."""
ENDS = (0, 2, 4)
"""Of those loads, the ones at which another wall is compared with the plan's."""
COARSE = 2e-3
"""Residual left in these solves."""
STEP_MM = 2.0
"""Move at which a slope is taken [mm]."""
NO_DIFFERENCE_KPA = 1.0
"""Cuts that leave means nearer than this relieve alike; the solver ranks no finer."""
LOW, HIGH = 0.10, 0.90


@dataclass(frozen=True)
class Response:
    """What a cut leaves in each draw at each lesion: mean over a patch [kPa] and void left [mm], shape ``(lesions, n)``."""

    patch: Array
    left: Array

    @property
    def worst(self) -> Array:
        """The mean at the worst lesion in each draw [kPa]."""
        return self.patch.max(axis=0)


@dataclass(frozen=True)
class _Nodes:
    """Mean over a patch [kPa] and void left [mm] at loads and tissues, shape ``(lesions, loads, tissues)`` each, and the
    state of each load case at the centre."""

    patch: Array
    left: Array
    central: Mapping[str, Settled]


class Chances:
    """Joint draws of one plan and what its cut and others leave in each.

    Parameters
    ----------
    scene
        On coarse cells.
    own
        The plan's cut, solved on its own cells; what the coarse cells leave less or more at its centre is put right.
    draws
        Joint draws; by default those of the plan's own spread, for the first load case.
    """

    def __init__(self, scene: Scene, own: Trial, draws: Draws | None = None) -> None:
        self.scene = scene
        self.own = own
        name = scene.case_names[0]
        self.spread = spread_of(scene.foams, scene.case(name).baseline.device_factor, scene.spec.pressure_map)
        self.draws = draws_of(self.spread) if draws is None else draws
        ratio = np.hypot(max(self.spread.load_below, self.spread.load_above), self.spread.foam)
        self._loads = np.exp(np.array(LOADS) * ratio)
        self._tissues = np.exp(np.array(TISSUES) * np.hypot(self.spread.tissue, self.spread.foam))
        self._by_layers: dict[tuple[str, ...], _Nodes] = {}
        self._map_slopes: Array | None = None
        self.response = self.of(own)

    @property
    def reasons(self) -> tuple[str, ...]:
        """What the intervals stand for, in a sentence."""
        spread = self.spread
        load = f"{100 * (np.exp(spread.load_below) - 1):.0f} to {100 * (np.exp(spread.load_above) - 1):.0f} %"
        return (
            f"80 % intervals and chances: {self.draws.load.size} joint draws of load (one in three is off by more than {load}), "
            f"tissue ({100 * (np.exp(spread.tissue) - 1):.0f} %), foam ({100 * (np.exp(spread.foam) - 1):.0f} %), cut against imprint "
            f"({spread.placement:g} mm) and map against foot ({spread.landmarks[0]:g} and {spread.landmarks[1]:g} mm); other cuts "
            f"are compared in the same draws, a difference under {NO_DIFFERENCE_KPA:g} kPa counts as none.",
        )

    def lesions(self, found: Sequence[LesionPressure]) -> tuple[LesionPressure, ...]:
        """Lesions of the plan with their intervals and chances."""
        told = []
        for lesion, patch, left in zip(found, self.response.patch, self.response.left, strict=True):
            low, high = np.quantile(patch, (LOW, HIGH))
            closes = float(np.mean(left <= 0.0))
            told.append(replace(lesion, patch_mean_after_80=(float(low), float(high)), closes_chance=closes))
        return tuple(told)

    def relieves_more(self, trial: Trial) -> float:
        """Chance that a cut leaves less at the worst lesion than the plan's does."""
        return float(np.mean(self.of(trial).worst < self.response.worst - NO_DIFFERENCE_KPA))

    def of(self, trial: Trial) -> Response:
        """What a cut leaves in each draw."""
        draws = self.draws
        load, tissue = draws.load / draws.foam, draws.tissue / draws.foam
        if trial.cut_layers not in self._by_layers:
            own = self._by_layers[trial.cut_layers] = self._solved(
                trial, range(len(LOADS)), range(len(TISSUES))
            )
            apart = None
        else:
            # Another wall of the same layers: as the first one, and what it leaves more or less at three loads.
            own = self._solved(trial, ENDS, (1,))
            near = self._by_layers[trial.cut_layers]
            apart = [
                one[:, :, 0] - other[:, ENDS, 1]
                for one, other in ((own.patch, near.patch), (own.left, near.left))
            ]
        nodes = self._by_layers[trial.cut_layers]
        at = np.log(self._loads), np.log(self._tissues)
        where = np.log(load), np.log(tissue)
        slopes = self._slopes(trial, own.central)
        count = len(self.scene.spec.lesions)
        patch, void = np.empty((count, load.size)), np.empty((count, load.size))
        for index, lesion in enumerate(trial.report.lesions):
            mean = _between(at, nodes.patch[index] / self._loads[:, None], where)
            gap = _between(at, nodes.left[index], where)
            if apart is not None:
                ends = np.log(self._loads[list(ENDS)])
                mean += _along(ends, apart[0][index] / self._loads[list(ENDS)], where[0])
                gap += _along(ends, apart[1][index], where[0])
            mean = draws.foam * load * mean
            # The coarse cells put right at the centre, and the slopes of place, both in proportion to the load.
            fine = lesion.patch_mean_after if lesion.patch_mean_after is not None else lesion.mean_after
            coarse = nodes.patch[index, 2, 1] + (0.0 if apart is None else apart[0][index, 1])
            along = slopes[index, :2] @ draws.moved + slopes[index, 2:] @ (draws.moved + draws.shifted)
            patch[index] = np.maximum(mean + draws.load * (fine - coarse + along), 0.0)
            void[index] = gap
        return Response(patch, void)

    def _solved(self, trial: Trial, loads: Sequence[int], tissues: Sequence[int]) -> _Nodes:
        """A cut at some of the nodes."""
        scene = self.scene
        central: dict[str, Settled] = {}
        shape = (len(scene.spec.lesions), len(loads), len(tissues))
        patch, left = np.empty(shape), np.empty(shape)
        for name in scene.cases:
            start: Settled | None = None
            for j, k in enumerate(tissues):
                for i, load in enumerate(loads):
                    state, voids = self._press(
                        trial, name, float(self._loads[load]), float(self._tissues[k]), start
                    )
                    start = state
                    if self._loads[load] == 1.0 and self._tissues[k] == 1.0:
                        central[name] = state
                    for index, lesion in enumerate(scene.spec.lesions):
                        if scene.case_names[index] != name:
                            continue
                        patch[index, i, j] = scene.patches(lesion, name).highest(state.pressure_kpa)
                        share = scene.coverage(lesion, name)
                        cells = share >= min(0.5, float(share.max()))
                        left[index, i, j] = (voids - state.roof[0])[cells].min()
        return _Nodes(patch, left, central)

    def _press(
        self,
        trial: Trial,
        name: str,
        load: float,
        tissue: float,
        start: Settled | None,
        moved: tuple[int, int] = (0, 0),
    ) -> tuple[Settled, Array]:
        scene = self.scene
        case = scene.case(name).scaled(load, moved)
        void = scene.void(name, trial.openings, trial.wall.bevel, case.baseline.pressure_kpa)
        near = None if start is None else Start(case.at_rest, start.motion)
        return case.press(void, scene.tissue * tissue, near, COARSE), void.depth_mm

    def _slopes(self, trial: Trial, states: Mapping[str, Settled]) -> Array:
        """Change of the mean over a patch with a move of the lesion over the cut and of the map, per mm along x and y."""
        scene = self.scene
        found = np.zeros((len(scene.spec.lesions), 4))
        for index, lesion in enumerate(scene.spec.lesions):
            name = scene.case_names[index]
            patches = scene.patches(lesion, name)
            for axis in range(2):
                ends = [
                    patches.highest(states[name].pressure_kpa, (step, 0.0) if axis == 0 else (0.0, step))
                    for step in (-STEP_MM, STEP_MM)
                ]
                found[index, axis] = (ends[1] - ends[0]) / (2 * STEP_MM)
        found[:, 2:] = self._slopes_of_map(trial, states)
        return found

    def _slopes_of_map(self, trial: Trial, states: Mapping[str, Settled]) -> Array:
        """The same of the map alone, under the plan's own cut; it counts alike for all cuts."""
        if self._map_slopes is None:
            scene = self.scene
            self._map_slopes = np.zeros((len(scene.spec.lesions), 2))
            for axis, moved in enumerate(((1, 0), (0, 1))):
                for sign in (-1, 1):
                    for name in scene.cases:
                        cells = (sign * moved[0], sign * moved[1])
                        state, _ = self._press(trial, name, 1.0, 1.0, states[name], cells)
                        for index, lesion in enumerate(scene.spec.lesions):
                            if scene.case_names[index] == name:
                                mean = scene.patches(lesion, name).highest(state.pressure_kpa)
                                self._map_slopes[index, axis] += sign * mean / (2 * scene.cell)
        return self._map_slopes


def _along(at: Array, values: Array, where: Array) -> Array:
    """Monotone interpolation along one axis, held at its ends."""
    return np.asarray(PchipInterpolator(at, values)(np.clip(where, at[0], at[-1])))


def _between(at: tuple[Array, Array], values: Array, where: tuple[Array, Array]) -> Array:
    """Monotone along the load, then a parabola over the three tissues; held at the ends."""
    rows = [_along(at[0], values[:, column], where[0]) for column in range(values.shape[1])]
    low, mid, high = at[1]
    t = np.clip(where[1], low, high)
    shares = (
        (t - mid) * (t - high) / ((low - mid) * (low - high)),
        (t - low) * (t - high) / ((mid - low) * (mid - high)),
        (t - low) * (t - mid) / ((high - low) * (high - mid)),
    )
    return np.asarray(sum(share * row for share, row in zip(shares, rows, strict=True)))
