"""Plans on the demonstration stack for the tests of pressure."""

from dataclasses import replace
from functools import cache

from offload.core.foam.law import packaged_foams
from offload.core.plan.compute import ComputedPlan, compute
from offload.core.plan.openings import Wall
from offload.core.plan.policy import DEFAULT_POLICY
from offload.core.plan.scene import Scene
from offload.core.plan.spec import ReliefSpec
from offload.core.plan.trial import Trials, try_openings
from offload.core.pressure.grid import PressureMap
from offload.core.shapes.lesion import LesionSpec
from offload.core.shapes.outline import Outline

HEADS_2_3 = (0.0, 193.0)


def spec(
    weight: float = 80.0, cut: str = "auto", at: tuple[float, float] = HEADS_2_3, size: float = 20.0, **more
):
    lesion = LesionSpec("A", Outline.ellipse(at, size, size))
    return replace(ReliefSpec("right", 260.0, weight, (lesion,), foot_width=98.0, cut=cut), **more)


@cache
def plan(*args, **more) -> ComputedPlan:
    return compute(spec(*args, **more))


def trials(made: ComputedPlan, cell: float = 5.0) -> Trials:
    """The plan's own cut solved, ready for others beside it."""
    scene = Scene(made.spec, made.insole, packaged_foams(), cell)
    wall = Wall(made.spec.margin, made.spec.distal_margin, made.spec.bevel, made.spec.margin_face)
    return Trials(scene, try_openings(scene, made.cut_layers, wall, made.openings), DEFAULT_POLICY)


def force_of(given: PressureMap) -> float:
    """Integral of a map [N]."""
    return float(given.grid().sum()) * given.cell[0] * given.cell[1] / 1000.0
