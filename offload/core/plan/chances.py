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

from offload.core.plan.closing import closes
from offload.core.plan.compute import LesionPressure
from offload.core.plan.interpolation import along, between
from offload.core.plan.openings import Wall
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
WALL = ("margin", "distal_margin", "bevel")
"""What shapes a wall; the face on which a margin is measured is the plan's own for all."""
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
    """What a cut leaves in each draw at each lesion: mean over a patch [kPa], shape ``(lesions, n)``."""

    patch: Array

    @property
    def worst(self) -> Array:
        """The mean at the worst lesion in each draw [kPa]."""
        return self.patch.max(axis=0)


@dataclass(frozen=True)
class _Nodes:
    """Mean over a patch [kPa] at loads and tissues, shape ``(lesions, loads, tissues)``, that mean between
    them in each draw over foam and load, the void of each load case, and the state at the centre and at the
    ends.
    """

    trial: Trial
    patch: Array
    drawn: Array
    voids: Mapping[str, Void]
    central: Mapping[str, Settled]
    ends: Mapping[tuple[str, int], Settled]


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
        self._beyond: dict[tuple[tuple[str, ...], Wall], Array] = {}
        self._map_moves: Array | None = None
        self.response = self.of(own)
        self.closes = closes(fine, own, *self._over_foam, self._tissues)

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
        for lesion, patch, closed in zip(found, self.response.patch, self.closes, strict=True):
            joined.append(
                replace(
                    lesion,
                    patch_mean_after_80=interval_of(patch),
                    patch_median_after=float(np.median(patch)),
                    closes_chance=float(np.mean(closed)),
                )
            )
        return tuple(joined)

    def relieves_more(self, trial: Trial) -> float:
        """Chance that a cut leaves less at the worst lesion than the plan's does."""
        return float(np.mean(leaves_less(self.of(trial).worst, self.response.worst)))

    def of(self, trial: Trial) -> Response:
        """What a cut leaves in each draw."""
        draws = self.draws
        first = trial.cut_layers not in self._by_layers
        if first:
            self._by_layers[trial.cut_layers] = self._solved(trial)
        nodes = self._by_layers[trial.cut_layers]
        slopes = np.concatenate([self._moves(trial), self._moves_of_map(nodes)], axis=1)
        moves = np.concatenate([draws.moved, draws.moved + draws.shifted])
        count = len(self.scene.spec.lesions)
        apart = np.zeros((count, 3)) if first else self._apart(trial, nodes)
        patch = np.empty((count, draws.load.size))
        loads = self._loads[[ENDS[0], 2, ENDS[1]]]
        for index in range(count):
            mean = nodes.drawn[index] + along(np.log(loads), apart[index], np.log(self._over_foam[0]))
            # The coarse cells put right at the centre, and the slopes of place, both in proportion to the
            # load.
            right = _mean_of(nodes.trial, index) - nodes.patch[index, 2, 1]
            moved = sum(
                np.where(move < 0, -move * down, move * up)
                for move, (down, up) in zip(moves, slopes[index], strict=True)
            )
            patch[index] = np.maximum(draws.load * (mean + right + moved), 0.0)
        return Response(patch)

    @property
    def _over_foam(self) -> tuple[Array, Array]:
        """Load and tissue over foam in each draw."""
        return self.draws.load / self.draws.foam, self.draws.tissue / self.draws.foam

    def _solved(self, trial: Trial) -> _Nodes:
        """A cut at the nodes."""
        scene, loads, tissues = self.scene, self._loads, self._tissues
        voids: dict[str, Void] = {}
        central: dict[str, Settled] = {}
        ends: dict[tuple[str, int], Settled] = {}
        patch = np.empty((len(scene.spec.lesions), loads.size, tissues.size))
        for name in scene.cases:
            start: Settled | None = None
            for i, load in enumerate(loads):
                case, voids[name] = _loaded(scene, trial, name, float(load), voids.get(name))
                # The tissues are run through there and back, so that each begins beside the last.
                for j in range(tissues.size) if i % 2 == 0 else reversed(range(tissues.size)):
                    tissue = scene.tissue * float(tissues[j])
                    before = None if start is None else start.as_start()
                    start = case.press(voids[name], tissue, before, COARSE)
                    if tissues[j] == load == 1.0:
                        central[name] = start
                    elif tissues[j] == 1.0 and i in ENDS:
                        ends[name, i] = start
                    for index, lesion in enumerate(scene.spec.lesions):
                        if scene.case_names[index] == name:
                            patch[index, i, j] = scene.patches(lesion, name).highest(start.pressure_kpa)
        load_drawn, tissue_drawn = self._over_foam
        at, where = (np.log(loads), np.log(tissues)), (np.log(load_drawn), np.log(tissue_drawn))
        drawn = np.array([between(at, values / loads[:, None], where) for values in patch])
        return _Nodes(trial, patch, drawn, voids, central, ends)

    def _apart(self, trial: Trial, nodes: _Nodes) -> Array:
        """What a wall leaves more or less than the first one of its layers at the centre and both ends, over
        the load [kPa], shape ``(lesions, 3)``.

        Notes
        -----
        What it changes at the ends beyond the centre is solved for walls with one value changed, and summed
        for walls with several: against solving each of 230 cuts of ten plans the chances moved by 0.001 in
        the mean and 0.055 at most.
        """
        centre = np.array([_mean_of(trial, i) - _mean_of(nodes.trial, i) for i in range(len(nodes.patch))])
        steps = [
            (trial.cut_layers, replace(nodes.trial.wall, **{name: getattr(trial.wall, name)}))
            for name in WALL
            if getattr(trial.wall, name) != getattr(nodes.trial.wall, name)
        ]
        if all(step in self._beyond for step in steps):
            beyond = sum((self._beyond[step] for step in steps), np.zeros((centre.size, 3)))
        else:
            beyond = self._solved_beyond(trial, nodes, centre)
        self._beyond[trial.cut_layers, trial.wall] = beyond
        return np.asarray(centre[:, None] + beyond)

    def _solved_beyond(self, trial: Trial, nodes: _Nodes, centre: Array) -> Array:
        """The change at the ends beyond that at the centre, solved."""
        scene, lesions = self.scene, self.scene.spec.lesions
        found = np.zeros((centre.size, 3))
        voids: dict[str, Void] = {}
        # What is nothing at the centre is nothing under less load.
        nothing = [
            max(_mean_of(trial, i), _mean_of(nodes.trial, i)) < NOTHING_KPA for i in range(centre.size)
        ]
        for (name, i), near in nodes.ends.items():
            at = [index for index, case in enumerate(scene.case_names) if case == name]
            end, load = 2 * ENDS.index(i), float(self._loads[i])
            if i < ENDS[1] and all(nothing[index] for index in at):
                found[at, end] = -centre[at]
                continue
            case, voids[name] = _loaded(scene, trial, name, load, voids.get(name))
            pressure = case.press(voids[name], scene.tissue, near.as_start(), COARSE).pressure_kpa
            for index in at:
                patch = scene.patches(lesions[index], name).highest(pressure)
                found[index, end] = (patch - nodes.patch[index, i, 1]) / load - centre[index]
        return found

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
                    move = (step, 0) if axis == 0 else (0, step)
                    case, void = _loaded(scene, nodes.trial, name, 1.0, nodes.voids[name], move)
                    state = case.press(void, scene.tissue, nodes.central[name].as_start(), COARSE)
                    for index, lesion in enumerate(scene.spec.lesions):
                        if scene.case_names[index] == name:
                            there = scene.patches(lesion, name).highest(state.pressure_kpa)
                            self._map_moves[index, axis, end] = (
                                there - nodes.patch[index, 2, 1]
                            ) / scene.cell
        return self._map_moves


def _loaded(
    scene: Scene,
    trial: Trial,
    name: str,
    load: float,
    void: Void | None = None,
    moved: tuple[int, int] = (0, 0),
) -> tuple[LoadCase, Void]:
    """A load case with its load multiplied and its map moved by whole cells, and a cut's void under it; the
    void of another load is the same but for that.
    """
    case = scene.case(name).scaled(load, moved)
    before = case.baseline.pressure_kpa
    if void is not None:
        return case, void.under(before)
    return case, scene.void(name, trial.openings, trial.wall.bevel, before)


def _mean_of(trial: Trial, index: int) -> float:
    lesion = trial.report.lesions[index]
    return lesion.mean_after if lesion.patch_mean_after is None else lesion.patch_mean_after
