"""Which cut clears the lesion: the advice of mechanics beside the weight policy."""

from __future__ import annotations

from collections.abc import Sequence

from offload.core.foam.stack import Layer
from offload.core.plan.compute import ClearanceAdvice
from offload.core.plan.scene import Scene
from offload.core.plan.trial import Trial, Trials

__all__ = ["clearance_advice", "possible_cuts"]

ENOUGH = 0.30
"""Fall of the patch mean that makes a cut count as clearing [-]; the international footwear goal, used to
rank.
"""
SOME = 0.10
"""Fall of the patch mean below which no cut is advised [-]; design choice."""
TIE = 0.05
"""Patch means closer than this count as equal [-]; design choice."""

SAME_VOLUME = 0.01
"""Volumes closer than this count as equal [-]; design choice."""


def possible_cuts(stack: Sequence[Layer]) -> tuple[tuple[str, ...], ...]:
    """The cuts of whole layers that a stack allows: never the cover."""
    if any(layer.role == "middle" for layer in stack):
        return (("middle",), ("base",), ("middle", "base"))
    return (("base",),)


def clearance_advice(tried: Trials) -> ClearanceAdvice:
    """The cut that mechanics would choose with the plan's own margins and bevel.

    Parameters
    ----------
    tried
        The plan's own cut and those tried beside it.

    Notes
    -----
    Of the cuts whose geometry holds, the one that takes out least foam and whose mean over a sensor-sized
    patch falls by 30 % or more at every lesion at central tissue; if none does, the one with the lowest such
    mean, where means within 5 % tie and least foam wins. None when no cut lowers it by 10 %. With several
    lesions it is that of the worst one.

    References
    ----------
    The 30 %: Fernando M et al. 2016 (PMC5024422), a goal for pressure measured in footwear that prevents
    ulcers; for an open ulcer no target is published, and a calculation cannot show one met. Here it only
    ranks.
    """
    trials = _holding(tried)
    if not trials:
        return ClearanceAdvice(None, "No cut of whole layers holds its geometry with these margins.")
    if all(not lesion.patch_mean_before for lesion in tried.plan.report.lesions):
        return ClearanceAdvice(
            None, "No ulcer carries pressure in its load case, so no cut can be told from another."
        )
    best = max(trial.worst_fall for trial in trials)
    if best < SOME:
        return ClearanceAdvice(
            None,
            "This insole cannot clear the ulcer at this load: the best cut lowers its mean over 1.5 cm² by "
            f"{_percent(max(best, 0.0))} "
            f"in this estimate, under {_percent(SOME)}.",
        )
    clearing = [trial for trial in trials if trial.least_fall >= ENOUGH]
    if clearing:
        chosen, equals = _least_foam(clearing)
        why = (
            f"of the cuts that lower the ulcer's mean over 1.5 cm² by {_percent(ENOUGH)} or more it "
            "takes out least foam"
        )
        if equals > 1:
            why += ", and of equals it leaves the lowest mean"
    else:
        lowest = min(trial.worst_patch for trial in trials)
        tied = [trial for trial in trials if trial.worst_patch <= lowest * (1.0 + TIE)]
        chosen, _ = _least_foam(tied)
        why = (
            f"no cut lowers the ulcer's mean over 1.5 cm² by {_percent(ENOUGH)}, and this one leaves the "
            "lowest"
        )
        if len(tied) > 1:
            why += f" (within {_percent(TIE)}) with least foam taken out"
    return ClearanceAdvice(
        chosen.cut_layers,
        f"Cutting {' and '.join(chosen.cut_layers)} lowers the mean over 1.5 cm² at the worst ulcer by "
        f"{_percent(chosen.worst_fall)} in this estimate; {why}. "
        f"{_void_words(tried.scene, chosen)} For ranking only.",
    )


def _least_foam(trials: Sequence[Trial]) -> tuple[Trial, int]:
    """The trial that takes out least foam, of equals the one with the lowest patch mean, and how many are
    equal.
    """
    least = min(trial.volume for trial in trials)
    equals = [trial for trial in trials if trial.volume <= least * (1.0 + SAME_VOLUME)]
    return min(equals, key=lambda trial: trial.worst_patch), len(equals)


def _holding(trials: Trials) -> list[Trial]:
    """The cuts of the plan's own wall whose geometry has no error."""
    found = []
    for cut in possible_cuts(trials.scene.stack):
        trial = trials.cut(cut, trials.plan.wall)
        if trial is not None and not any(check.stops for check in trials.geometry_checks(trial)):
            found.append(trial)
    return found


def _void_words(scene: Scene, trial: Trial) -> str:
    """Whether the void stays open at soft, central and stiff tissue."""
    soft, stiff = scene.other_tissues
    clauses = []
    for word, tissue in (("soft", soft), ("central", scene.tissue), ("stiff", stiff)):
        least = min(_void_left(scene, trial, index, tissue) for index in range(len(scene.spec.lesions)))
        clauses.append(
            f"stays open with {word} tissue ({least:.1f} mm)" if least > 0 else f"closes with {word} tissue"
        )
    return f"The space under the ulcer {', '.join(clauses)}."


def _void_left(scene: Scene, trial: Trial, index: int, tissue: float) -> float:
    lesion, name = scene.spec.lesions[index], scene.case_names[index]
    if tissue == scene.tissue:
        return trial.report.lesions[index].clearance
    state = scene.case(name).press(trial.voids[name], tissue, trial.states[name].as_start())
    return scene.lesion_pressure(lesion, name, trial.voids[name], state).clearance


def _percent(share: float) -> str:
    return f"{100 * share:.0f} %"
