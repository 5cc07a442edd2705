"""The clinic's rule is the proposal, always; what the model would rather cut stands beside it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from offload.core.foam.stack import Layer
from offload.core.plan.compute import Alternative, ComputedPlan

__all__ = ["LIKELY", "MORE_THAN_HALF", "Suggestion", "closing_words", "suggestions"]

LIKELY = 0.9
"""Chance of relieving more from which another cut is suggested [-]; common practice, no source."""
MORE_THAN_HALF = 0.5
"""Chance that the rule's void closes from which the cut that relieves more is suggested [-]; common practice,
no source.
"""
MOST = 2


@dataclass(frozen=True, slots=True)
class Suggestion:
    """Another cut that the model would rather make: why, and what it costs."""

    cut: Alternative
    why: str
    costs: str


def suggestions(plan: ComputedPlan) -> tuple[Suggestion, ...]:
    """At most two cuts that relieve more than the clinic's rule, the one that takes out least foam first.

    Parameters
    ----------
    plan
        The rule's own cut with its chances; without them, or with another cut than the rule's, nothing is
        suggested.

    Notes
    -----
    A smaller hole never wins by its margin: margins below the plan's own and other bevels are left out. The
    second one, if any, cuts other layers than the first.
    """
    if plan.pressure is None or plan.decision.departs:
        return ()
    spec = plan.spec
    least = MORE_THAN_HALF if _closes(plan) > MORE_THAN_HALF else LIKELY
    better = [
        one
        for one in plan.alternatives
        if one.relieves_more_chance is not None
        and one.relieves_more_chance >= least
        and one.margin >= spec.margin
        and one.distal_margin >= spec.distal_margin
        and one.bevel == spec.bevel
    ]
    better.sort(key=lambda one: one.area * _depth(spec.stack, one.cut_layers))
    found: list[Suggestion] = []
    for one in better:
        if len(found) < MOST and all(one.cut_layers != other.cut.cut_layers for other in found):
            found.append(Suggestion(one, _why(one), _costs(one, plan)))
    return tuple(found)


def _depth(stack: Sequence[Layer], cut: Sequence[str]) -> float:
    return sum(layer.thickness for layer in stack if layer.role in cut)


def closing_words(plan: ComputedPlan) -> str:
    """That the space under an ulcer closes under the rule's cut, where that is likelier than not."""
    if plan.pressure is None or plan.decision.departs or _closes(plan) <= MORE_THAN_HALF:
        return ""
    worst = max(plan.pressure.lesions, key=lambda one: one.closes_chance or 0.0)
    return (
        f"Under the rule's cut the space under ulcer {worst.label} closes: chance {worst.closes_chance:.2f}."
    )


def _closes(plan: ComputedPlan) -> float:
    lesions = plan.pressure.lesions if plan.pressure is not None else ()
    return max((one.closes_chance or 0.0 for one in lesions), default=0.0)


def _why(one: Alternative) -> str:
    return f"Relieves more than the rule's cut: chance {one.relieves_more_chance:.2f}."


def _costs(one: Alternative, plan: ComputedPlan) -> str:
    """Foam taken out against the rule's cut, and what lies under the ulcer then."""
    stack = plan.spec.stack
    own = sum(opening.area for opening in plan.openings) * _depth(stack, plan.cut_layers)
    more = one.area * _depth(stack, one.cut_layers) - own
    last = max(place for place, layer in enumerate(stack) if layer.role in one.cut_layers)
    below = [layer.role for layer in stack[last + 1 :]]
    under = f"the {' and '.join(below)}" if below else "what the insole lies on: look that it is smooth"
    change = f"{abs(more) / 1000:.1f} cm³ {'more' if more >= 0 else 'less'} foam"
    return f"Takes out {change}; the space ends on {under}."
