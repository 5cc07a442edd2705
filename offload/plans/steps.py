"""What is done with a signed plan, step by step: cut, fitted, contact check. Each step is added, none is
changed.
"""

from __future__ import annotations

from datetime import date, datetime
from decimal import Decimal

from django.db import transaction

from offload.core.foam.stack import DEMONSTRATION_STACK
from offload.core.sheets.sheet_code import normalised
from offload.models import PlanState, PlanStep, ReliefPlan, StepKind
from offload.plans.keeping import PlanRefused

__all__ = ["BAR", "SHALLOW", "Stage", "plan_contact", "plan_cut", "plan_depth", "plan_fitted", "stage_of"]

#: The printed 100 mm bar that a sheet may have when it is cut from [mm]; common practice, no source.
BAR = (Decimal("99.5"), Decimal("100.5"))
#: How much less deep than planned a cut may be [mm]; common practice, no source.
SHALLOW = Decimal("1.0")
#: A clean check after one that found contact says what was changed in at least so many characters; design
#: choice.
CHANGED_WORDS = 10


class Stage:
    """How far a plan has come, in words for its page; a failed try leaves it where it was."""

    DRAFT, SIGNED, CUT, FITTED, CHECKED, TOUCHES, REPLACED = (
        "draft",
        "signed",
        "cut",
        "fitted",
        "checked",
        "touches",
        "replaced",
    )


def stage_of(plan: ReliefPlan) -> str:
    """The stage that the plan's steps have reached; reads `plan.steps.all()`, which may be prefetched."""
    if plan.state == PlanState.DRAFT:
        return Stage.DRAFT
    if plan.state == PlanState.SUPERSEDED:
        return Stage.REPLACED
    stage = Stage.SIGNED
    for step in plan.steps.all():
        if step.kind == StepKind.CUT:
            stage = Stage.CUT if step.passed else Stage.SIGNED
        elif step.kind == StepKind.FITTED:
            stage = Stage.FITTED
        else:
            stage = Stage.CHECKED if step.passed else Stage.TOUCHES
    return stage


def plan_depth(plan: ReliefPlan) -> Decimal:
    """Depth of the cut: the thickness of the layers it goes through [mm]."""
    layers = plan.result.get("layers") or plan.spec.get("stack")
    if not layers:
        layers = [{"role": layer.role, "thickness_mm": layer.thickness} for layer in DEMONSTRATION_STACK]
    cut = [Decimal(str(one["thickness_mm"])) for one in layers if one["role"] in plan.result["cut_layers"]]
    return sum(cut, Decimal(0))


@transaction.atomic
def plan_cut(
    *,
    plan: ReliefPlan,
    code: str,
    side: str,
    bar: Decimal,
    depth: Decimal,
    done_on: date,
    done_by: str,
    at: datetime,
    note: str = "",
) -> PlanStep:
    """Record a cut: from the right sheet, printed at true size, deep enough. A shallow one is kept as
    failed.
    """
    row = _open(plan, done_on)
    _same_sheet(row, code, side)
    if not BAR[0] <= bar <= BAR[1]:
        raise PlanRefused(
            f"Measured bar: {bar} mm; the limit is {BAR[0]} to {BAR[1]} mm. The sheet is not at true size: "
            "print it again "
            "at 100 %, without fitting to the page.",
            field="bar_mm",
        )
    planned = plan_depth(row)
    if depth <= 0 or depth > planned + 10:
        raise PlanRefused(
            f"Depth measured: {depth} mm; the limit is above 0 and up to {planned + 10} mm for a cut of "
            f"{planned} mm.",
            field="depth_mm",
        )
    return PlanStep.objects.create(
        plan=row,
        kind=StepKind.CUT,
        done_on=done_on,
        recorded_at=at,
        done_by=done_by,
        passed=planned - depth <= SHALLOW,
        bar_mm=bar,
        depth_mm=depth,
        depth_planned_mm=planned,
        note=note.strip(),
    )


@transaction.atomic
def plan_fitted(
    *, plan: ReliefPlan, code: str, side: str, done_on: date, done_by: str, at: datetime, note: str = ""
) -> PlanStep:
    """Record that the cut insole was put into the device: code and side are typed again, from the insole."""
    row = _open(plan, done_on)
    if stage_of(row) not in (Stage.CUT, Stage.TOUCHES, Stage.CHECKED, Stage.FITTED):
        raise PlanRefused(f"Plan {row.code} is not cut yet, so it cannot be fitted.")
    _same_sheet(row, code, side)
    return PlanStep.objects.create(
        plan=row,
        kind=StepKind.FITTED,
        done_on=done_on,
        recorded_at=at,
        done_by=done_by,
        passed=True,
        note=note.strip(),
    )


def _touched_since_cut(plan: ReliefPlan) -> bool:
    """Whether the last contact check since the last cut found contact."""
    last = plan.steps.exclude(kind=StepKind.FITTED).last()
    return last is not None and last.kind == StepKind.CONTACT and not last.passed


@transaction.atomic
def plan_contact(
    *, plan: ReliefPlan, touches: bool, done_on: date, done_by: str, at: datetime, note: str = ""
) -> PlanStep:
    """Record the imprint taken again on the cut insole: whether the lesion touches the floor of the
    opening.
    """
    row = _open(plan, done_on)
    if stage_of(row) not in (Stage.FITTED, Stage.CHECKED, Stage.TOUCHES):
        raise PlanRefused(f"Plan {row.code} is not fitted yet; the contact check comes after that.")
    if not touches and _touched_since_cut(row) and len(note.strip()) < CHANGED_WORDS:
        raise PlanRefused(
            "Note: the check before found contact, and nothing was cut since. Say in at least "
            f"{CHANGED_WORDS} characters what was changed; {len(note.strip())} given.",
            field="note",
        )
    return PlanStep.objects.create(
        plan=row,
        kind=StepKind.CONTACT,
        done_on=done_on,
        recorded_at=at,
        done_by=done_by,
        passed=not touches,
        touches=touches,
        note=note.strip(),
    )


def _open(plan: ReliefPlan, done_on: date) -> ReliefPlan:
    row = ReliefPlan.objects.select_for_update().get(pk=plan.pk)
    if row.state == PlanState.DRAFT:
        raise PlanRefused(f"Plan {row.code} is not signed: do not cut from it.")
    if row.state == PlanState.SUPERSEDED:
        raise PlanRefused(f"Plan {row.code} v{row.number} was replaced; use the plan that replaced it.")
    if row.signed_at is not None and done_on < row.signed_at.date():
        raise PlanRefused(
            f"Done on: {done_on:%-d %b %Y}; the limit is the day of signing, {row.signed_at:%-d %b %Y}, or "
            "later.",
            field="done_on",
        )
    last = row.steps.order_by("-done_on").first()
    if last is not None and done_on < last.done_on:
        raise PlanRefused(
            f"Done on: {done_on:%-d %b %Y}; the step before was done on {last.done_on:%-d %b %Y}.",
            field="done_on",
        )
    return row


def _same_sheet(plan: ReliefPlan, code: str, side: str) -> None:
    if normalised(code) != plan.code:
        raise PlanRefused(
            f"STOP. The code typed is {normalised(code) or 'empty'}; this page is of plan {plan.code}. Look "
            "at the sheet or "
            "insole in your hand: it may be another person's.",
            field="code",
        )
    if side != plan.side:
        raise PlanRefused(
            f"STOP. The side typed is {side or 'empty'}; plan {plan.code} is for the {plan.side} foot.",
            field="side",
        )
