"""Time of a plan and of its alternatives, as ratios in one run. `python tests/bench/pressure.py`

A plan is geometry + baseline + its own cut at three tissue stiffnesses, at 2.5 mm cells. It is held against
one sparse factorisation of its matrix (goal: at most 40), against all its alternatives (goal: at most 6 plans
for 24 or more), their joint draws (goal: at most 10; of four plans, each timed beside its draws, medians) and
against a straightforward `scipy.optimize.root` of the same equations of one cut (goal: 50 times as fast, same
residual). Processor time, best of several; numbers on a busy machine still differ by some tenths.
"""

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import sys
import time
from collections.abc import Callable
from dataclasses import replace
from itertools import product
from pathlib import Path

import numpy as np
from scipy.optimize import root
from scipy.sparse import csc_matrix, diags
from scipy.sparse.linalg import splu

sys.path.insert(0, str(Path(__file__).parents[2]))

from offload.core.foam.law import packaged_foams
from offload.core.plan.alternatives import alternatives_for
from offload.core.plan.compute import compute
from offload.core.plan.openings import Wall
from offload.core.plan.policy import DEFAULT_POLICY
from offload.core.plan.report import PressureModel
from offload.core.plan.scene import Scene
from offload.core.plan.spec import ReliefSpec
from offload.core.plan.trial import Trials, try_openings
from offload.core.pressure.foot import Foot
from offload.core.shapes.lesion import LesionSpec
from offload.core.shapes.outline import Outline

SPEC = ReliefSpec(
    "right", 260.0, 82.0, (LesionSpec("A", Outline.ellipse((0.0, 190.0), 20.0, 20.0)),), foot_width=98.0
)


def best(work: Callable[[], object], times: int = 7) -> float:
    """Least processor time [s] of several runs."""
    found = []
    for _ in range(times):
        start = time.process_time()
        work()
        found.append(time.process_time() - start)
    return min(found)


def plan() -> object:
    return PressureModel(others=False).picture(compute(SPEC))


def scene_and_cut(cell: float):
    made = compute(SPEC)
    scene = Scene(SPEC, made.insole, packaged_foams(), cell)
    return scene, made, scene.void("push_off", made.openings, SPEC.bevel)


def alternatives() -> float:
    """Processor time [s] of all alternatives beside a solved plan."""
    scene, made, _ = scene_and_cut(2.5)
    own = try_openings(scene, made.cut_layers, Wall(5.0, 10.0, 45.0), made.openings)
    start = time.process_time()
    assert len(alternatives_for(Trials(scene, own, DEFAULT_POLICY))) >= 24
    return time.process_time() - start


def uncertainty(spec: ReliefSpec, rounds: int = 7) -> tuple[float, float]:
    """Processor time of a plan [s], and that of its alternatives' joint draws in such plans: medians of
    rounds in which each is timed beside the others, since a busy machine slows all of them.
    """
    made = compute(spec)
    kinds = (PressureModel(others=False), PressureModel(chances=False), PressureModel())
    works = (
        lambda: kinds[0].picture(compute(spec)),
        *(lambda one=one: one.picture(made) for one in kinds[1:]),
    )
    found = np.array([[best(work, 1) for work in works] for _ in range(rounds)])
    one, without, both = np.median(found, axis=0)
    return float(one), float((both - without) / one)


def factorisation() -> float:
    """One sparse LU of the plan's matrix [s], the better of two orderings."""
    bed = scene_and_cut(2.5)[2].foundation
    band = bed._template.copy(order="F")
    bed._carriers.stiffen(band, bed._carriers.stiffness)
    band[0] += bed._trace
    band[0, bed._face] += bed.lattice.area * 50.0
    rows = [row[: row.size - step] for step, row in enumerate(band)]
    kept = [step for step, row in enumerate(rows) if np.any(row)]
    steps = [*kept, *(-step for step in kept if step)]
    matrix = csc_matrix(diags([rows[abs(step)] for step in steps], steps))
    matrix.eliminate_zeros()
    symmetric = {"permc_spec": "MMD_AT_PLUS_A", "options": {"SymmetricMode": True}}
    return min(best(lambda: splu(matrix)), best(lambda: splu(matrix, **symmetric)))


def against_root(cell: float, method: str, **options: object) -> tuple[float, float, float, int]:
    """Our time and scipy's [s] for one cut from the uncut state, its residual, and the number of unknowns."""
    scene, _, void = scene_and_cut(cell)
    case, bed = scene.case("push_off"), void.foundation
    ours = best(lambda: case.press(void, 50.0), 3)
    lattice, load = bed.lattice, case.baseline.load
    profile = case.at_rest + case.baseline.pressure_kpa / 50.0
    above = bed.plate.above
    foot = Foot(lattice, profile, case.loaded, 50.0, load, bed._at.face, above, bed.columns)
    cells = bed._at.count

    def rest(unknown: np.ndarray) -> np.ndarray:
        q, motion = unknown[:cells], unknown[cells:]
        pressed = foot.press(q, motion, None)
        forces = bed._carried(q, None)[1] - lattice.area * foot.upon(pressed.pressure, cells)
        return np.concatenate([forces, pressed.rest])

    start = np.append(bed._level, [0.0, 0.0, 0.0])
    began = time.process_time()
    found = root(rest, start, method=method, options=options)
    theirs = time.process_time() - began
    left = float(np.abs(rest(found.x)[:cells]).max() / lattice.area / case.baseline.pressure_kpa.max())
    return ours, theirs, left, cells + 3


def main() -> None:
    one = best(plan)
    lu = factorisation()
    others = min(alternatives() for _ in range(5))
    print(f"plan                       {1e3 * one:7.1f} ms")
    print(f"one sparse factorisation   {1e3 * lu:7.1f} ms   plan = {one / lu:.1f} of them (goal <= 40)")
    print(f"24 alternatives            {1e3 * others:7.1f} ms   = {others / one:.1f} plans (goal <= 6)")
    for size, device in product((20.0, 8.0), (None, "walker_knee_high_removable")):
        lesion = LesionSpec("A", Outline.ellipse((0.0, 190.0), size, size))
        own, draws = uncertainty(replace(SPEC, lesions=(lesion,), device=device))
        where = f"{size:2.0f} mm, {'walker' if device else 'flat shoe'}"
        print(f"joint draws {where:15s} {1e3 * own:6.1f} ms a plan, = {draws:.1f} plans (goal <= 10)")
    for cell, method, options in (
        (10.0, "hybr", {"xtol": 1e-9}),
        (5.0, "hybr", {"xtol": 1e-9}),
        (5.0, "krylov", {"maxiter": 300, "fatol": 1e-4}),
    ):
        ours, theirs, left, unknowns = against_root(cell, method, **options)
        print(
            f"scipy root {method:7s} {cell:4.1f} mm {unknowns:5d} unknowns {1e3 * theirs:9.1f} ms, residual "
            f"{left:.0e}; "
            f"ours {1e3 * ours:6.2f} ms: {theirs / ours:.0f} x (goal >= 50)"
        )


if __name__ == "__main__":
    main()
