"""Other cuts for the same lesions, solved and ranked."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import product

from offload.core.plan.bounds import MARGIN
from offload.core.plan.chances import Chances
from offload.core.plan.checks import Check
from offload.core.plan.clearance import possible_cuts
from offload.core.plan.compute import Alternative
from offload.core.plan.openings import Wall
from offload.core.plan.trial import Trials

__all__ = ["LEAST_COUNT", "alternatives_for", "walls_around"]

LEAST_COUNT = 24
MARGIN_STEPS = (0.0, 3.0, -2.0, 6.0, -3.0, 9.0)
DISTAL_STEPS = (0.0, 5.0, -3.0, 10.0, -5.0, 15.0)
BEVELS = (45.0, 60.0, 30.0, 75.0, 90.0)


def walls_around(wall: Wall) -> Iterator[Wall]:
    """Walls around a given one, nearest first: it, then one step in each value, then two.

    A distal margin is never below the margin; values off the bounds of a plan do not occur.
    """
    margins = [wall.margin + step for step in MARGIN_STEPS if wall.margin + step in MARGIN]
    distals = [wall.distal_margin + step for step in DISTAL_STEPS]
    distals = [distal for distal in distals if distal in MARGIN]
    bevels = [wall.bevel, *(bevel for bevel in BEVELS if bevel != wall.bevel)]
    places = product(range(len(margins)), range(len(distals)), range(len(bevels)))
    for i, j, k in sorted(places, key=lambda at: (max(at), sum(at), at)):
        if distals[j] >= margins[i]:
            yield replace(wall, margin=margins[i], distal_margin=distals[j], bevel=bevels[k])


def alternatives_for(
    tried: Trials, unchanged: Sequence[Check] = (), chances: Chances | None = None
) -> tuple[Alternative, ...]:
    """At least 24 cuts for the same lesions, best first.

    Parameters
    ----------
    tried
        The plan's own cut, which is among the alternatives, and those tried beside it.
    unchanged
        Checks of the plan that no cut changes.
    chances
        Joint draws of the plan's inputs; without them no chance is told.

    Returns
    -------
    tuple of Alternative
        Those with no check flagged first, then by mean over a sensor-sized patch at the worst lesion, peak at
        the rim, area.

    Notes
    -----
    All cuts of whole layers with the walls around the plan's own. Only impossible geometry is left out, and
    the next wall taken instead. Solved at central tissue stiffness; each starts from the last one with the
    same layers.
    """
    unflagged = all(check.passed for check in unchanged)
    found: list[Alternative] = []
    for wall in walls_around(tried.plan.wall):
        if len(found) >= LEAST_COUNT:
            break
        for cut in possible_cuts(tried.scene.stack):
            trial = tried.cut(cut, wall)
            if trial is None:
                continue
            passed = unflagged and all(check.passed for check in trial.checks)
            passed = passed and all(check.passed for check in tried.geometry_checks(trial))
            other = Alternative(
                cut_layers=cut,
                margin=wall.margin,
                distal_margin=wall.distal_margin,
                bevel=wall.bevel,
                area=trial.area,
                peak_after=trial.worst_peak,
                rim_peak_after=trial.report.rim_peak_after,
                passed=passed,
                patch_mean_after=trial.worst_patch,
                relieves_more_chance=None
                if chances is None or trial is tried.plan
                else chances.relieves_more(trial),
            )
            found.append(other)
    found.sort(key=_rank)
    return tuple(found)


def _rank(one: Alternative) -> tuple[object, ...]:
    return not one.passed, one.patch_mean_after, one.rim_peak_after, one.area, one.cut_layers
