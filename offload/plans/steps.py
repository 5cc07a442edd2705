"""What is done with a signed plan, step by step: cut, fitted, contact check. Each step is added, none is
changed; one recorded in error is taken back by a step of its own.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime
from decimal import Decimal

from django.db import transaction

from offload.core.foam.stack import DEMONSTRATION_STACK
from offload.core.plan.contact import CLEAN, UNREADABLE, contact_fault
from offload.core.sheets.sheet_code import normalised
from offload.models import PlanStep, ReliefPlan, StepKind
from offload.plans.refused import PlanRefused
from offload.plans.stage import Stage, plan_allowed, stage_of, standing_steps

__all__ = [
    "BAR",
    "DEEPER",
    "SHALLOW",
    "Stage",
    "plan_contact",
    "plan_cut",
    "plan_depth",
    "plan_fitted",
    "stage_of",
    "standing_steps",
    "step_take_back",
]

#: The printed 100 mm bar that a sheet may have when it is cut from [mm]; common practice, no source.
BAR = (Decimal("99.5"), Decimal("100.5"))
#: How much less deep than planned a cut may be [mm]; common practice, no source.
SHALLOW = Decimal("1.0")
#: How much deeper than planned a cut may be by the tool alone [mm]; beyond, it is another cut, which is
#: planned as a new version. Common practice, no source.
DEEPER = Decimal("1.0")
#: A clean check after one that found contact says what was changed in at least so many characters; design
#: choice.
CHANGED_WORDS = 10


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
    row = _may(plan, "cut", done_on)
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
    if depth - planned > DEEPER and len(note.strip()) < CHANGED_WORDS:
        raise PlanRefused(
            f"Depth measured: {depth} mm, {depth - planned} mm deeper than the {planned} mm planned, of "
            f"which up to {DEEPER} mm is the tool. Cut deeper on purpose? Make a new version of the plan. "
            f"Was it a slip, say in the note in at least {CHANGED_WORDS} characters what base is left; "
            "the plan is then flagged for a podiatrist.",
            field="note",
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
    row = _may(plan, "fit", done_on)
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
    """Whether the last contact check since the last cut that could be read found contact."""
    newest = (
        step
        for step in reversed(standing_steps(plan))
        if step.kind != StepKind.FITTED and step.found != UNREADABLE
    )
    last = next(newest, None)
    return last is not None and last.touches


@transaction.atomic
def plan_contact(
    *,
    plan: ReliefPlan,
    found: str,
    method: str,
    dummy_marked: bool | None,
    where: Sequence[str] = (),
    done_on: date,
    done_by: str,
    at: datetime,
    note: str = "",
) -> PlanStep:
    """Record a contact check of the cut insole. Clean counts only after a dummy that left its mark."""
    row = _may(plan, "check", done_on)
    labels = [one["label"] for one in row.spec["lesions"]]
    if stray := [one for one in where if one.rpartition(":")[0] not in labels]:
        raise PlanRefused(f"Where: {stray[0]} given; the ulcers are {', '.join(labels)}.", field="where")
    if fault := contact_fault(found=found, method=method, dummy_marked=dummy_marked, where=where):
        raise PlanRefused(fault.words, field=fault.field)
    if found == CLEAN and _touched_since_cut(row) and len(note.strip()) < CHANGED_WORDS:
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
        passed=found == CLEAN,
        found=found,
        method=method,
        dummy_marked=dummy_marked,
        where=list(where),
        note=note.strip(),
    )


@transaction.atomic
def step_take_back(*, step: PlanStep, done_on: date, done_by: str, at: datetime, because: str) -> PlanStep:
    """Record that the newest standing step was entered in error; it stays to be read, and counts no more."""
    row = ReliefPlan.objects.select_for_update().get(pk=step.plan_id)
    plan_allowed(row, "undo")
    if not because.strip():
        raise PlanRefused("Say in words why.", field="reason")
    standing = standing_steps(row)
    if not standing or standing[-1].pk != step.pk:
        raise PlanRefused("Only the newest step is taken back; take back what was done after it first.")
    return PlanStep.objects.create(
        plan=row,
        kind=StepKind.UNDONE,
        takes_back=step,
        done_on=max(done_on, step.done_on),
        recorded_at=at,
        done_by=done_by,
        passed=True,
        note=because.strip()[:200],
    )


def _may(plan: ReliefPlan, event: str, done_on: date) -> ReliefPlan:
    row = ReliefPlan.objects.select_for_update().get(pk=plan.pk)
    plan_allowed(row, event)
    if row.signed_at is not None and done_on < row.signed_at.date():
        raise PlanRefused(
            f"Done on: {done_on:%-d %b %Y}; the limit is the day of signing, {row.signed_at:%-d %b %Y}, or "
            "later.",
            field="done_on",
        )
    last = max((step.done_on for step in standing_steps(row)), default=None)
    if last is not None and done_on < last:
        raise PlanRefused(
            f"Done on: {done_on:%-d %b %Y}; the step before was done on {last:%-d %b %Y}.",
            field="done_on",
        )
    return row


def _same_sheet(plan: ReliefPlan, code: str, side: str) -> None:
    if normalised(code) != plan.code:
        raise PlanRefused(
            f"STOP. The code typed is {normalised(code) or 'empty'}; this page is of plan {plan.code}. Look "
            "at the sheet or "
            "insole in your hand: it may be another patient's.",
            field="code",
        )
    if side != plan.side:
        raise PlanRefused(
            f"STOP. The side typed is {side or 'empty'}; plan {plan.code} is for the {plan.side} foot.",
            field="side",
        )
