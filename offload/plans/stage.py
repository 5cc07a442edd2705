"""The stage a kept plan has reached, and the refusal of what that stage does not allow."""

from __future__ import annotations

from offload.core.plan import contact, stages
from offload.models import PlanState, PlanStep, ReliefPlan, StepKind
from offload.plans.refused import PlanRefused

__all__ = ["Stage", "plan_allowed", "stage_of", "standing_steps"]


class Stage:
    """How far a plan has come, in words for its page; a failed try leaves it where it was."""

    DRAFT, SIGNED, CUT, FITTED = stages.DRAFT, stages.SIGNED, stages.CUT, stages.FITTED
    CHECKED, TOUCHES, UNREADABLE = stages.CHECKED, stages.TOUCHES, stages.UNREADABLE
    REPLACED = stages.REPLACED


def stage_of(plan: ReliefPlan) -> str:
    """The stage that the plan's steps have reached; reads `plan.steps.all()`, which may be prefetched."""
    if plan.state == PlanState.DRAFT:
        return Stage.DRAFT
    if plan.state == PlanState.SUPERSEDED:
        return Stage.REPLACED
    stage = Stage.SIGNED
    for step in standing_steps(plan):
        if step.kind == StepKind.CUT:
            stage = Stage.CUT if step.passed else Stage.SIGNED
        elif step.kind == StepKind.FITTED:
            stage = Stage.FITTED
        elif step.found != contact.UNREADABLE:
            stage = Stage.CHECKED if step.passed else Stage.TOUCHES
        elif stage != Stage.TOUCHES:  # a contact stands until a check that can be read finds none
            stage = Stage.UNREADABLE
    return stage


def standing_steps(plan: ReliefPlan) -> list[PlanStep]:
    """The steps that nobody has taken back, in their order; reads `plan.steps.all()`, which may be
    prefetched."""
    steps = sorted(plan.steps.all(), key=lambda step: step.pk)
    gone = {step.takes_back_id for step in steps if step.takes_back_id is not None}
    return [step for step in steps if step.kind != StepKind.UNDONE and step.pk not in gone]


def plan_allowed(plan: ReliefPlan, event: str) -> None:
    """Refuse what the plan's stage does not allow."""
    names = {"code": plan.code, "number": plan.number, "signed_by": plan.signed_by}
    if words := stages.refusal(stage_of(plan), event, **names):
        raise PlanRefused(words)
