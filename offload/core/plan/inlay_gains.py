"""What each inlay of a plan gains: the same cut solved without it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from offload.core.foam.law import Foam
from offload.core.plan.chances import HIGH, LOW, Chances
from offload.core.plan.inlays import InlayGain, inlays_in, without
from offload.core.plan.scene import Scene
from offload.core.plan.trial import Trial, try_openings

__all__ = ["inlay_gains"]


def inlay_gains(
    scene: Scene,
    own: Trial,
    foams: Mapping[str, Foam],
    tissues: Sequence[float],
    tolerance: float,
    chances: Chances | None = None,
) -> tuple[InlayGain, ...]:
    """What each inlay does at each lesion.

    Parameters
    ----------
    scene, own
        The plan with all its inlays, solved.
    foams
        Foams by id.
    tissues
        Further tissue stiffnesses for the range [kPa/mm].
    tolerance
        Largest residual left, relative to the peak pressure.
    chances
        Joint draws of the plan; without them there is no interval.

    Notes
    -----
    Without one inlay the others stay. Both are solved on the same cells and in the same draws, so that only
    the inlay lies between them.
    """
    inlays = tuple(inlays_in(scene.stack))
    if not inlays:
        return ()
    found: list[InlayGain] = []
    own_means = _means(scene, own, tissues)
    for placed in inlays:
        spec = replace(scene.spec, stack=without(scene.stack, placed))
        bare_scene = Scene(spec, scene.insole, foams, scene.cell)
        bare = try_openings(bare_scene, own.cut_layers, own.wall, own.openings, own, tolerance=tolerance)
        falls = np.array(_means(bare_scene, bare, tissues)) - np.array(own_means)
        drawn = None
        if chances is not None:
            coarse = Scene(spec, scene.insole, foams, chances.scene.cell)
            response = Chances(coarse, bare_scene, bare, chances.draws).response
            drawn = np.quantile(response.patch - chances.response.patch, (LOW, HIGH), axis=1)
        for n, lesion in enumerate(scene.spec.lesions):
            with_it, bare_one = own.report.lesions[n], bare.report.lesions[n]
            found.append(
                InlayGain(
                    index=placed.index,
                    number=placed.number,
                    role=placed.layer.role,
                    foam=placed.inlay.foam,
                    label=lesion.label,
                    without=bare_one.patch_mean_after or 0.0,
                    with_it=with_it.patch_mean_after or 0.0,
                    fall=(float(falls[:, n].min()), float(falls[:, n].max())),
                    fall_80=None if drawn is None else (float(drawn[0, n]), float(drawn[1, n])),
                    elsewhere_without=bare.report.elsewhere_peak_after,
                    elsewhere_with=own.report.elsewhere_peak_after,
                )
            )
    return tuple(found)


def _means(scene: Scene, trial: Trial, tissues: Sequence[float]) -> list[list[float]]:
    """Highest mean over a patch at each lesion [kPa], at central tissue and at each other."""
    rows = [[one.patch_mean_after or 0.0 for one in trial.report.lesions]]
    for tissue in tissues:
        states = {
            name: scene.case(name).press(trial.voids[name], tissue, trial.states[name].as_start())
            for name in scene.cases
        }
        rows.append(
            [
                scene.patches(lesion, name).highest(states[name].pressure_kpa)
                for lesion, name in zip(scene.spec.lesions, scene.case_names, strict=True)
            ]
        )
    return rows
