"""The solver on random valid plans with a fixed seed: it comes to rest, keeps the load, and says when it
cannot.
"""

import numpy as np
import pytest

from offload.core.errors import ReliefError
from offload.core.foam.stack import Layer
from offload.core.plan.compute import compute
from offload.core.plan.report import PressureModel
from offload.core.plan.spec import ReliefSpec
from offload.core.pressure.grid import PressureMap
from offload.core.shapes.lesion import LesionSpec
from offload.core.shapes.outline import Outline

MODEL = PressureModel(cell_mm=5.0, ranges=False, others=False)
FOAMS = ("soft", "medium", "firm")


def random_map(rng: np.random.Generator, length: float, width: float) -> PressureMap:
    cell = rng.uniform(4, 12)
    shape = (int(0.7 * length / cell), int(0.5 * width / cell))
    kpa = rng.uniform(0, 300, shape) * (rng.random(shape) < 0.8)
    kind = ("peak", "instant")[rng.integers(2)]
    return PressureMap(tuple(map(tuple, kpa.tolist())), (cell, cell), (-0.25 * width, 0.15 * length), kind)


def random_spec(rng: np.random.Generator) -> ReliefSpec:
    length = rng.uniform(120, 350)
    width = rng.uniform(0.33, 0.42) * length
    lesions = []
    for label in "ABC"[: rng.integers(1, 4)]:
        at = rng.uniform(-0.3, 0.3) * width, rng.uniform(0.08, 0.95) * length
        long = rng.uniform(3, 40) * length / 260
        lesions.append(
            LesionSpec(label, Outline.ellipse(at, long, long * rng.uniform(0.4, 1), rng.uniform(0, 180)))
        )
    middles = [Layer("middle", FOAMS[rng.integers(3)], rng.uniform(1, 12)) for _ in range(rng.integers(0, 3))]
    stack = (
        Layer("cover", FOAMS[rng.integers(3)], rng.uniform(1, 8)),
        *middles,
        Layer("base", FOAMS[rng.integers(3)], rng.uniform(1, 20)),
    )
    margin = rng.uniform(0, 15)
    return ReliefSpec(
        "right",
        length,
        rng.uniform(20, 300),
        tuple(lesions),
        foot_width=width,
        stack=stack,
        margin=margin,
        distal_margin=margin + rng.uniform(0, 15),
        bevel=rng.uniform(20, 90),
        cut=("auto", "base", "middle", "middle+base")[rng.integers(4)] if middles else "auto",
        pressure_map=random_map(rng, length, width) if rng.random() < 0.3 else None,
    )


def solve(seed: int, wanted: int) -> None:
    """Solve this many plans whose geometry is valid; any error of the solver is a failure."""
    rng = np.random.default_rng(seed)
    solved = 0
    while solved < wanted:
        spec = random_spec(rng)
        try:
            plan = compute(spec)
        except ReliefError:
            continue  # the random lesion or map lies off the insole: no valid plan
        report = MODEL(plan).report
        assert report.solved_load == pytest.approx(report.load, rel=1e-6)
        for lesion in report.lesions:
            assert np.isfinite([lesion.peak_after, lesion.mean_after, lesion.bottomed_percent]).all()
            assert lesion.peak_after >= 0
        solved += 1


@pytest.mark.parametrize("seed", range(12))  # 120 plans; 2,000 others in each `make validate`
def test_ten_random_plans_come_to_rest(seed):
    solve(seed, 10)


@pytest.mark.oracle
@pytest.mark.parametrize(
    "seed",
    [pytest.param(seed, marks=[pytest.mark.whole] if seed >= 1020 else []) for seed in range(1000, 1100)],
)
def test_a_hundred_random_plans_come_to_rest(seed):
    solve(seed, 100)
