"""Plans whose inputs are drawn and solved directly: are the intervals and chances of a plan honest?

`python -m tests.offload.core.synthetic_truths` prints coverage and calibration over 300 truths. A truth is
the same equations on a plan's own cells, with the drawn load, tissue, foam and places put in, nothing
interpolated; so this shows that the intervals follow from the stated ranges, not that the ranges are right.
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from dataclasses import replace

import numpy as np
import shapely
from scipy.ndimage import shift

from offload.core.foam.law import packaged_foams
from offload.core.plan.chances import Chances, interval_of, leaves_less
from offload.core.plan.compute import ComputedPlan, compute
from offload.core.plan.openings import Wall
from offload.core.plan.policy import DEFAULT_POLICY
from offload.core.plan.scene import LoadCase, Scene
from offload.core.plan.trial import Trial, Trials, try_openings
from offload.core.plan.void import coverage
from offload.core.pressure.spread import Draws, draws_of
from offload.core.shapes.outline import Outline
from tests.offload.core.pressure_plans import spec

WALKER = "walker_knee_high_removable"
PLANS = (
    spec(82.0, "middle", device=WALKER),
    spec(95.0, "base", device=WALKER),
    spec(70.0, "middle", device="ankle_high_removable", at=(-20.0, 180.0), size=14.0),
    spec(75.0, "base", device="footwear_modification", at=(0.0, 185.0), size=26.0),
    spec(60.0, "base"),
    spec(90.0, "middle+base", device=WALKER, at=(-12.0, 232.0), size=15.0),
)


def prepared(made: ComputedPlan, others: bool = True) -> tuple[Chances, list[Trial]]:
    """A plan's draws, and its own cut with those of other layers and one of a wider wall."""
    fine = Scene(made.spec, made.insole, packaged_foams(), 2.5)
    wall = Wall(made.spec.margin, made.spec.distal_margin, made.spec.bevel, made.spec.margin_face)
    own = try_openings(fine, made.cut_layers, wall, made.openings)
    chances = Chances(Scene(made.spec, made.insole, packaged_foams(), 5.0), fine, own)
    if not others:
        return chances, [own]
    tried = Trials(fine, own, DEFAULT_POLICY)
    cuts = [cut for cut in (("base",), ("middle",), ("middle", "base")) if cut != made.cut_layers]
    trials = [tried.cut(cut, wall) for cut in cuts]
    trials.append(tried.cut(made.cut_layers, replace(wall, margin=wall.margin + 3.0, distal_margin=13.0)))
    return chances, [own, *(one for one in trials if one)]


def truth(made: ComputedPlan, trial: Trial, draws: Draws, i: int) -> tuple[float, float]:
    """Highest mean over a patch [kPa] and least void left [mm] at the first lesion in one draw, solved
    directly.
    """
    foams = {
        name: replace(foam, modulus_kpa=foam.modulus_kpa * float(draws.foam[i]))
        for name, foam in packaged_foams().items()
    }
    scene = Scene(made.spec, made.insole, foams, 2.5)
    name, lesion = scene.case_names[0], scene.spec.lesions[0]
    case = scene.case(name)
    lattice = case.baseline.lattice
    move = draws.moved[:, i] + draws.shifted[:, i]
    moved = shift(case.baseline.pressure_kpa, (move[1] / lattice.dy, move[0] / lattice.dx), order=1)
    pressure = np.where(lattice.support, float(draws.load[i]) * np.maximum(moved, 0.0), 0.0)
    pressure[pressure < 1e-6 * pressure.max()] = 0.0
    baseline = replace(case.baseline, pressure_kpa=pressure, load=lattice.load_of(pressure))
    drawn = LoadCase(baseline, case.columns, case.columns.compression(pressure))
    void = scene.void(name, trial.openings, trial.wall.bevel, pressure)
    state = drawn.press(void, scene.tissue * float(draws.tissue[i]))
    there = tuple(float(one) for one in draws.moved[:, i])
    mean = scene.patches(lesion, name).highest(state.pressure_kpa, there)
    share = coverage(
        Outline.of_polygon(shapely.transform(lesion.outline.polygon, lambda at: at + there)), lattice
    )
    left = (void.depth_mm - state.roof[0])[share >= min(0.5, float(share.max()))].min()
    return mean, float(left)


def main(each: int = 50) -> None:
    inside, closed, beats, apart = [], [], [], []
    for number, given in enumerate(PLANS):
        made = compute(given)
        chances, trials = prepared(made)
        low, high = interval_of(chances.response.patch[0])
        closes = float(np.mean(chances.closes[0]))
        told = [chances.relieves_more(trial) for trial in trials[1:]]
        other = draws_of(chances.spread, each, seed=900 + number)
        again = Chances(chances.scene, chances.fine, trials[0], other)
        rows = []
        for i in range(each):
            found = [truth(made, trial, other, i) for trial in trials]
            inside.append(low <= found[0][0] <= high)
            closed.append((closes, found[0][1] <= 0))
            beats += [
                (chance, bool(leaves_less(np.array(one[0]), np.array(found[0][0]))))
                for chance, one in zip(told, found[1:], strict=True)
            ]
            rows.append((found[0][0], again.response.patch[0, i]))
        apart += rows
        here = np.array(rows)
        print(
            f"plan {number}: 80 % interval {low:.0f} to {high:.0f} kPa holds {np.mean(inside[-each:]):.2f}; "
            f"closes {closes:.2f}, came {np.mean([c for _, c in closed[-each:]]):.2f}; interpolated against "
            "solved: "
            f"median {np.median(np.abs(here[:, 0] - here[:, 1])):.1f}, 90th "
            f"{np.quantile(np.abs(here[:, 0] - here[:, 1]), 0.9):.1f} kPa",
            flush=True,
        )
        for chance, trial in zip(told, trials[1:], strict=True):
            share = np.mean([came for said, came in beats[-each * len(told) :] if said == chance])
            print(
                f"  {'+'.join(trial.cut_layers)} margin {trial.wall.margin:g}: said {chance:.2f}, came "
                f"{share:.2f}",
                flush=True,
            )
    print(f"coverage over {len(inside)}: {np.mean(inside):.3f}")
    said, came = (np.array(one, dtype=float) for one in zip(*beats, strict=True))
    for a, b in ((0.0, 0.1), (0.1, 0.3), (0.3, 0.5), (0.5, 0.7), (0.7, 0.9), (0.9, 1.01)):
        held = (said >= a) & (said < b)
        if held.any():
            print(
                f"relieves more, said {a:.1f} to {min(b, 1.0):.1f}: {said[held].mean():.2f}, came "
                f"{came[held].mean():.2f} of {held.sum()}"
            )


if __name__ == "__main__":
    main()
