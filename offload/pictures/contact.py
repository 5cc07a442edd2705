"""The contact check of a kept plan for a page: its steps with their pictures, and what each result looks
like.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from django.utils.safestring import SafeString

from offload.core.foam.stack import DEMONSTRATION_STACK, Layer
from offload.core.plan.contact import FOLLOWS, METHODS, RESULTS, contact_steps
from offload.core.sheets.contact_pictures import contact_pictures
from offload.core.sheets.drawing import Drawing
from offload.core.sheets.writers.svg import write_svg
from offload.models import ReliefPlan
from offload.plans.steps import plan_depth

__all__ = ["ContactMethod", "PicturedResult", "PicturedStep", "contact_methods", "contact_results"]


@dataclass(frozen=True)
class PicturedStep:
    """One step: its picture, where it has one, and what is done."""

    svg: SafeString | None
    words: str


@dataclass(frozen=True)
class ContactMethod:
    """A way to make contact seen."""

    words: str
    steps: Sequence[PicturedStep]


@dataclass(frozen=True)
class PicturedResult:
    """A result: what it looks like, what it is, and what follows from it."""

    svg: SafeString
    words: str
    follows: str


def contact_methods(plan: ReliefPlan) -> tuple[ContactMethod, ...]:
    """Both ways, drawn through this plan's layers."""
    return tuple(_method(plan, name) for name in METHODS)


def contact_results(plan: ReliefPlan) -> tuple[PicturedResult, ...]:
    """Each result beside what follows from it."""
    drawn = contact_pictures(_stack(plan), plan.result["cut_layers"], "marker")
    return tuple(PicturedResult(_svg(drawn[name]), words, FOLLOWS[name]) for name, words in RESULTS.items())


def _method(plan: ReliefPlan, name: str) -> ContactMethod:
    drawn = contact_pictures(_stack(plan), plan.result["cut_layers"], name)
    steps = contact_steps(name, float(plan_depth(plan)))
    return ContactMethod(
        METHODS[name],
        [PicturedStep(_svg(drawn[one.name]) if one.name in drawn else None, one.words) for one in steps],
    )


def _stack(plan: ReliefPlan) -> Sequence[Layer]:
    rows = plan.result.get("layers") or plan.spec.get("stack")
    if not rows:
        return DEMONSTRATION_STACK
    return [Layer(row["role"], row["foam"], float(row["thickness_mm"])) for row in rows]


def _svg(drawing: Drawing) -> SafeString:
    return SafeString(write_svg(drawing).decode())
