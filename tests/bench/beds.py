"""The bed of a real plan as plain numbers, for a solver that knows nothing of the program."""

from __future__ import annotations

import numpy as np

from offload.core.foam.law import packaged_foams
from offload.core.plan.compute import ComputedPlan, compute
from offload.core.plan.scene import LoadCase, Scene
from offload.core.plan.spec import ReliefSpec
from offload.core.plan.void import HARD_SHARE, Void
from offload.core.shapes.lesion import LesionSpec
from offload.core.shapes.outline import Outline

from .foundation_by_scipy import Bed

__all__ = ["bed_of", "plan_for", "scene_of"]


def plan_for(weight: float = 82.0, cut: str = "auto") -> ComputedPlan:
    """A plan under the second and third metatarsal heads of a right foot, without pressure."""
    lesion = LesionSpec("A", Outline.ellipse((0.0, 190.0), 20.0, 16.0))
    return compute(ReliefSpec("right", 260.0, weight, (lesion,), foot_width=98.0, cut=cut))


def scene_of(plan: ComputedPlan, cell: float) -> tuple[Scene, LoadCase, Void]:
    """Scene, load case and void of the plan's first lesion."""
    scene = Scene(plan.spec, plan.insole, packaged_foams(), cell)
    name = scene.case_names[0]
    return scene, scene.case(name), scene.void(name, plan.openings, plan.spec.bevel)


def bed_of(scene: Scene, case: LoadCase, void: Void, tissue: float | None = None) -> Bed:
    """The same equations in plain numbers."""
    lattice, baseline, plate = case.baseline.lattice, case.baseline, void.foundation.plate
    assert plate is not None
    tissue = tissue or scene.tissue
    first = len(plate.layers)
    thickness = np.array([layer.thickness for layer in scene.stack])
    cut_base = bool((void.left_mm[-1] < thickness[-1]).any())
    over = plate.share > 0
    left = np.zeros((len(scene.stack) - first, *lattice.support.shape))
    rest = plate.depth_mm.copy()
    for place in range(len(left)):
        cut = bool((void.left_mm[first + place] < thickness[first + place]).any())
        taken = np.minimum(rest, thickness[first + place]) if cut else np.zeros(rest.shape)
        left[place] = np.where(over, thickness[first + place] - taken, 0.0)
        rest -= taken
    return Bed(
        x=lattice.x,
        y=lattice.y,
        size=lattice.dx,
        support=lattice.support,
        contact=case.loaded & lattice.support,
        thickness=thickness,
        modulus_kpa=np.array([foam.modulus_kpa for foam in scene.foams]),
        locking=np.array([foam.locking_strain for foam in scene.foams]),
        first=first,
        window=plate.window,
        share=plate.share,
        outside_mm=void.outside_mm,
        depth_mm=plate.depth_mm,
        middle_mm=plate.middle_mm,
        left_mm=left,
        ground=HARD_SHARE * thickness[-1] / scene.foams[-1].modulus_kpa if cut_base else 0.0,
        before_kpa=baseline.pressure_kpa,
        profile_mm=case.at_rest + baseline.pressure_kpa / tissue,
        tissue=tissue,
        central=scene.tissue,
        force_n=baseline.load.force_n,
        moment_x=baseline.load.moment_x,
        moment_y=baseline.load.moment_y,
    )
