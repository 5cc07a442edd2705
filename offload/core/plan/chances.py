"""What a plan leaves when its inputs are uncertain: intervals, and the chances that a void closes or another
cut relieves more.

The same draws stand for every cut (common random numbers). A cut is solved at a few loads and tissues on
coarse cells and interpolated between; a foam that is harder by some factor is the same as load and tissue
softer by it and pressures larger by it, since the equations have no other stiffness. Places count by the
slope of what is left against a small move.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator

from offload.core.plan.compute import LesionPressure
from offload.core.plan.scene import LoadCase, Scene
from offload.core.plan.trial import Trial
from offload.core.plan.void import Void
from offload.core.pressure.foundation import Settled
from offload.core.pressure.spread import Draws, draws_of, spread_of

__all__ = ["Chances", "Response", "interval_of", "leaves_less"]

Array = NDArray[np.float64]

LOADS = (-1.8, -0.9, 0.0, 0.9, 1.8)
"""Loads at which a cut is solved, in standard deviations of load over foam."""
TISSUES = (-1.9, 0.0, 1.9)
"""The same of tissue over foam."""
ENDS = (0, 4)
"""Of those loads, the ones at which another wall is compared with the first one of its layers, beside the
centre.
"""
COARSE = 0.03
"""Residual left in these solves."""
STEP_MM = 2.0
"""Move at which a slope is taken [mm]."""
NO_DIFFERENCE, NO_DIFFERENCE_KPA = 0.05, 3.0
"""Cuts that leave means nearer than 5 % or 3 kPa relieve alike: means within 5 % tie elsewhere too, and the
model itself is told to be off by 3 kPa.
"""
NOTHING_KPA = 1.0
"""A mean below this is nothing [kPa]; other cuts are solved to within 1 kPa."""
LOW, HIGH = 0.10, 0.90


@dataclass(frozen=True)
class Response:
    """What a cut leaves in each draw at each lesion: mean over a patch [kPa] and void left [mm], shape
    ``(lesions, n)``.
    """

    patch: Array
    left: Array

    @property
    def worst(self) -> Array:
        """The mean at the worst lesion in each draw [kPa]."""
        return self.patch.max(axis=0)


@dataclass(frozen=True)
class _Nodes:
    """Mean over a patch [kPa] and void left [mm] at loads and tissues, shape ``(lesions, loads, tissues)``
    each, and the state of each load case at the centre."""

    trial: Trial
    patch: Array
    left: Array
    central: Mapping[str, Settled]


def leaves_less(one: Array, other: Array) -> NDArray[np.bool_]:
    """Whether means are below others [kPa] by more than no difference."""
    return np.asarray(one < other - np.maximum(NO_DIFFERENCE * other, NO_DIFFERENCE_KPA))


def interval_of(patch: Array) -> tuple[float, float]:
    """Middle 80 % of what is left [kPa]; where nothing is left in a tenth of the draws or more, the
    lowest 80 %.
    """
    low, high = np.quantile(patch, (LOW, HIGH))
    if low < NOTHING_KPA:
        low, high = 0.0, np.quantile(patch, HIGH - LOW)
    return float(low), float(high)


class Chances:
    """Joint draws of one plan and what its cut and others leave in each.

    Parameters
    ----------
    scene, fine
        On coarse cells, and on those that cuts are ranked on.
    own
        The plan's cut, solved on its own cells; what the coarse cells leave less or more at its centre is put
        right.
    draws
        Joint draws; by default those of the plan's own spread, for the first load case.
    """

    def __init__(self, scene: Scene, fine: Scene, own: Trial, draws: Draws | None = None) -> None:
        self.scene = scene
        self.fine = fine
        self.own = own
        name = scene.case_names[0]
        self.spread = spread_of(
            scene.all_foams, scene.case(name).baseline.device_factor, scene.spec.pressure_map
        )
        self.draws = draws_of(self.spread) if draws is None else draws
        ratio = np.hypot(max(self.spread.load_below, self.spread.load_above), self.spread.foam)
        self._loads = np.exp(np.array(LOADS) * ratio)
        self._tissues = np.exp(np.array(TISSUES) * np.hypot(self.spread.tissue, self.spread.foam))
        self._by_layers: dict[tuple[str, ...], _Nodes] = {}
        self._map_moves: Array | None = None
        self.response = self.of(own)

    @property
    def reasons(self) -> tuple[str, ...]:
        """What the intervals stand for, in a sentence."""
        spread = self.spread
        load = f"{100 * (np.exp(spread.load_below) - 1):.0f} to {100 * (np.exp(spread.load_above) - 1):.0f} %"
        return (
            f"80 % intervals and chances: {self.draws.load.size} joint draws of load (one in three is off by "
            f"more than {load}), "
            f"tissue ({100 * (np.exp(spread.tissue) - 1):.0f} %), foam "
            f"({100 * (np.exp(spread.foam) - 1):.0f} %), cut against imprint "
            f"({spread.placement:g} mm) and map against foot ({spread.landmarks[0]:g} and "
            f"{spread.landmarks[1]:g} mm); other cuts "
            f"are compared in the same draws, a difference under {100 * NO_DIFFERENCE:g} % or "
            f"{NO_DIFFERENCE_KPA:g} kPa counts as none.",
        )

    def lesions(self, found: Sequence[LesionPressure]) -> tuple[LesionPressure, ...]:
        """Lesions of the plan with their intervals and chances."""
        joined = []
        for lesion, patch, left in zip(found, self.response.patch, self.response.left, strict=True):
            joined.append(
                replace(
                    lesion,
                    patch_mean_after_80=interval_of(patch),
                    patch_median_after=float(np.median(patch)),
                    closes_chance=float(np.mean(left <= 0.0)),
                )
            )
        return tuple(joined)

    def relieves_more(self, trial: Trial) -> float:
        """Chance that a cut leaves less at the worst lesion than the plan's does."""
        return float(np.mean(leaves_less(self.of(trial).worst, self.response.worst)))

    def of(self, trial: Trial) -> Response:
        """What a cut leaves in each draw."""
        draws = self.draws
        load, tissue = draws.load / draws.foam, draws.tissue / draws.foam
        first = trial.cut_layers not in self._by_layers
        if first:
            self._by_layers[trial.cut_layers] = self._solved(trial, range(len(LOADS)), range(len(TISSUES)))
        nodes = self._by_layers[trial.cut_layers]
        at = np.log(self._loads), np.log(self._tissues)
        where = np.log(load), np.log(tissue)
        slopes = np.concatenate([self._moves(trial), self._moves_of_map(nodes)], axis=1)
        apart = np.zeros((2, len(trial.report.lesions), 3)) if first else self._apart(trial, nodes)
        count = len(self.scene.spec.lesions)
        patch, void = np.empty((count, load.size)), np.empty((count, load.size))
        for index in range(count):
            mean = _between(at, nodes.patch[index] / self._loads[:, None], where)
            gap = _between(at, nodes.left[index], where)
            loads = self._loads[[ENDS[0], 2, ENDS[1]]]
            mean += _along(np.log(loads), apart[0, index] / loads, where[0])
            gap += _along(np.log(loads), apart[1, index], where[0])
            mean = draws.foam * load * mean
            # The coarse cells put right at the centre, and the slopes of place, both in proportion to the
            # load.
            right = _mean_of(nodes.trial, index) - nodes.patch[index, 2, 1]
            moves = np.concatenate([draws.moved, draws.moved + draws.shifted])
            along = sum(
                np.where(move < 0, -move * down, move * up)
                for move, (down, up) in zip(moves, slopes[index], strict=True)
            )
            patch[index] = np.maximum(mean + draws.load * (right + along), 0.0)
            void[index] = gap + self._left(nodes.trial)[index] - nodes.left[index, 2, 1]
        return Response(patch, void)

    def _solved(self, trial: Trial, loads: Sequence[int], tissues: Sequence[int]) -> _Nodes:
        """A cut at some of the nodes."""
        scene = self.scene
        central: dict[str, Settled] = {}
        shape = (len(scene.spec.lesions), len(loads), len(tissues))
        patch, left = np.empty(shape), np.empty(shape)
        for name in scene.cases:
            start: Settled | None = None
            for i, load in enumerate(loads):
                case, void = self._loaded(trial, name, float(self._loads[load]))
                for j, k in enumerate(tissues):
                    # The tissues are run through there and back, so that each begins beside the last.
                    j, k = (j, k) if i % 2 == 0 else (len(tissues) - 1 - j, tissues[len(tissues) - 1 - j])
                    tissue = scene.tissue * float(self._tissues[k])
                    start = case.press(void, tissue, None if start is None else start.as_start(), COARSE)
                    if self._loads[load] == 1.0 and self._tissues[k] == 1.0:
                        central[name] = start
                    for index, lesion in enumerate(scene.spec.lesions):
                        if scene.case_names[index] != name:
                            continue
                        patch[index, i, j] = scene.patches(lesion, name).highest(start.pressure_kpa)
                        left[index, i, j] = _void_left(scene, index, void, start, tissue)
        return _Nodes(trial, patch, left, central)

    def _loaded(
        self, trial: Trial, name: str, load: float, moved: tuple[int, int] = (0, 0)
    ) -> tuple[LoadCase, Void]:
        """A load case with its load multiplied and its map moved by whole cells, and the void cut under
        it.
        """
        case = self.scene.case(name).scaled(load, moved)
        void = self.scene.void(name, trial.openings, trial.wall.bevel, case.baseline.pressure_kpa)
        return case, void

    def _apart(self, trial: Trial, nodes: _Nodes) -> Array:
        """What a wall leaves more or less than the first one of its layers, mean and void, shape ``(2,
        lesions, 3)``.
        """
        ends = self._solved(trial, ENDS, (1,))
        centre = [
            [_mean_of(one, index) for index in range(len(one.report.lesions))] for one in (trial, nodes.trial)
        ]
        gaps = [self._left(one) for one in (trial, nodes.trial)]
        rows = []
        for own, near, (here, there) in (
            (ends.patch, nodes.patch, centre),
            (ends.left, nodes.left, gaps),
        ):
            low, high = (own[:, i, 0] - near[:, end, 1] for i, end in enumerate(ENDS))
            rows.append(np.stack([low, np.subtract(here, there), high], axis=1))
        return np.array(rows)

    def _left(self, trial: Trial) -> list[float]:
        """Least void left under each lesion on the cells that cuts are ranked on [mm]; below 0 when it is
        closed.
        """
        return [
            _void_left(self.fine, index, trial.voids[name], trial.states[name], self.fine.tissue)
            for index, name in enumerate(self.fine.case_names)
        ]

    def _moves(self, trial: Trial) -> Array:
        """Change of the mean over a patch per mm that the lesion moves over the cut, towards either end
        along x and y.
        """
        found = np.zeros((len(self.fine.spec.lesions), 2, 2))
        for index, (lesion, name) in enumerate(
            zip(self.fine.spec.lesions, self.fine.case_names, strict=True)
        ):
            patches, pressure = self.fine.patches(lesion, name), trial.states[name].pressure_kpa
            for axis, end in np.ndindex(2, 2):
                step = (-STEP_MM, STEP_MM)[end]
                there = patches.highest(pressure, (step, 0.0) if axis == 0 else (0.0, step))
                found[index, axis, end] = (there - patches.highest(pressure)) / STEP_MM
        return found

    def _moves_of_map(self, nodes: _Nodes) -> Array:
        """The same when the map alone moves; solved for the plan's own cut, it counts alike for all."""
        if self._map_moves is None:
            scene = self.scene
            self._map_moves = np.zeros((len(scene.spec.lesions), 2, 2))
            for axis, end in np.ndindex(2, 2):
                step = (-1, 1)[end]
                for name in scene.cases:
                    case, void = self._loaded(nodes.trial, name, 1.0, (step, 0) if axis == 0 else (0, step))
                    state = case.press(void, scene.tissue, nodes.central[name].as_start(), COARSE)
                    for index, lesion in enumerate(scene.spec.lesions):
                        if scene.case_names[index] == name:
                            there = scene.patches(lesion, name).highest(state.pressure_kpa)
                            self._map_moves[index, axis, end] = (
                                there - nodes.patch[index, 2, 1]
                            ) / scene.cell
        return self._map_moves


def _mean_of(trial: Trial, index: int) -> float:
    lesion = trial.report.lesions[index]
    return lesion.mean_after if lesion.patch_mean_after is None else lesion.patch_mean_after


def _void_left(scene: Scene, index: int, void: Void, state: Settled, tissue: float) -> float:
    """Least void left under a lesion [mm]; of a closed one, less what the pressure on its floor would still
    have moved.

    Beyond closing the roof hardly moves, so its own place would put the closing far too late between two
    loads.
    """
    share = scene.coverage(scene.spec.lesions[index], scene.case_names[index])
    cells = share >= min(0.5, float(share.max()))
    plate, left = void.foundation.plate, void.depth_mm - state.roof[0]
    if plate is not None:
        floor = np.where(plate.share >= 0.5, state.lower_kpa, 0.0)
        left = left - floor / tissue - plate.above.compression(floor)
    return float(left[cells].min())


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
