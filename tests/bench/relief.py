"""Relief plans beside a general minimiser of SciPy."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from offload.core.plan.compute import with_pressure
from offload.core.plan.report import PressureModel
from offload.core.pressure.foundation import Foundation

from .beds import bed_of, plan_for, scene_of
from .foundation_by_scipy import solve
from .rows import Row, best

CELL = 2.5


def rows() -> Iterator[Row]:
    plan = plan_for()
    scene, case, void = scene_of(plan, CELL)
    bed = bed_of(scene, case, void)
    miss = np.abs(case.press(void, scene.tissue).pressure_kpa - solve(bed).pressure_kpa).max()
    if miss > 1e-3:
        raise AssertionError(f"the two solvers differ by {miss:g} kPa; a ratio would mean nothing")
    minimiser = best(lambda: solve(bed), 2)
    size = f"{int(bed.support.sum()):,} cells of {CELL:g} mm"
    yield Row(
        "one cut solved",
        size,
        best(lambda: case.press(void, scene.tissue), 5),
        "SciPy L-BFGS-B, same energy",
        minimiser,
        True,
    )

    def whole() -> int:
        made = plan_for()
        return len(with_pressure(made, PressureModel(cell_mm=CELL)(made)).alternatives)

    solves = 0
    press = Foundation.press

    def counted(*args, **more):
        nonlocal solves
        solves += 1
        return press(*args, **more)

    Foundation.press = counted  # type: ignore[method-assign]
    try:
        found = whole()
    finally:
        Foundation.press = press  # type: ignore[method-assign]
    yield Row(
        f"relief plan, {found} alternatives",
        f"{solves} solves, {size}",
        best(whole, 3),
        f"{solves} × that minimiser",
        solves * minimiser,
        True,
    )
