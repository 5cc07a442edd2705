"""Other cuts beside a plan's own, as lines of a page."""

from __future__ import annotations

from dataclasses import dataclass

from offload.core.plan.compute import Alternative, ComputedPlan
from offload.core.plan.proposal import suggestions
from offload.core.plan.summary import low_words

__all__ = ["AlternativeLine", "SuggestionLine", "alternative_lines", "suggestion_lines"]

SHOWN_ALTERNATIVES = 6


@dataclass(frozen=True)
class AlternativeLine:
    """Another cut beside the plan's own: what it gains, the chance that it relieves more, and the words by
    which it is chosen.
    """

    cut: str
    choice: str
    margin: float
    distal_margin: float
    bevel: float
    area: float
    peak: str
    gain: float | None
    rim: float
    chance: float | None
    passed: bool
    own: bool


@dataclass(frozen=True)
class SuggestionLine:
    """Another cut that the model would rather make, and the words by which it is chosen."""

    cut: str
    margins: str
    choice: str
    why: str
    costs: str


def _choice(one: Alternative) -> str:
    return f"{'+'.join(one.cut_layers)}:{one.margin:g}:{one.distal_margin:g}:{one.bevel:g}"


def alternative_lines(plan: ComputedPlan) -> tuple[AlternativeLine, ...]:
    """The best other cuts in their order, the plan's own wall and each whole-layer cut with it always
    among them.
    """
    if plan.pressure is None:
        return ()
    now = max(lesion.peak_after for lesion in plan.pressure.lesions)
    spec = plan.spec
    lines = []
    for place, one in enumerate(plan.alternatives):
        wall = (one.margin, one.distal_margin, one.bevel) == (spec.margin, spec.distal_margin, spec.bevel)
        if place >= SHOWN_ALTERNATIVES and not wall:
            continue
        own = wall and one.cut_layers == plan.cut_layers
        lines.append(
            AlternativeLine(
                cut=" and ".join(one.cut_layers),
                choice=_choice(one),
                margin=one.margin,
                distal_margin=one.distal_margin,
                bevel=one.bevel,
                area=one.area,
                peak=low_words(one.peak_after),
                gain=None if own else now - one.peak_after,
                rim=one.rim_peak_after,
                chance=one.relieves_more_chance,
                passed=one.passed,
                own=own,
            )
        )
    return tuple(lines)


def suggestion_lines(plan: ComputedPlan) -> tuple[SuggestionLine, ...]:
    """What the model would rather cut, the one that takes out least foam first; its margins only where they
    are not the plan's own.
    """
    own = plan.spec.margin, plan.spec.distal_margin
    return tuple(
        SuggestionLine(
            f"the {' and '.join(one.cut.cut_layers)}",
            ""
            if (one.cut.margin, one.cut.distal_margin) == own
            else f"Margin {one.cut.margin:g} mm, towards the toes {one.cut.distal_margin:g} mm.",
            _choice(one.cut),
            one.why,
            one.costs,
        )
        for one in suggestions(plan)
    )
