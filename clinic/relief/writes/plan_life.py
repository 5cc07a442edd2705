"""Cutting, fitting and checking a signed relief plan, recorded on the person's page."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from decimal import Decimal
from typing import Any

from django.db import transaction
from django.utils import timezone

from clinic.models import LimbPlan, PlanFlagCause, Prescription, User
from clinic.record.errors import Refused
from clinic.record.writes import audit
from clinic.relief.writes.watch import plan_flag_raise
from offload.models import PlanMeasurement, PlanState, PlanStep, StepKind
from offload.plans import steps as steps
from offload.plans.keeping import PlanRefused
from offload.plans.measurements import plan_measured
from offload.plans.steps import Stage, stage_of

__all__ = ["plan_check_contact", "plan_cut", "plan_fit", "plan_measure", "seal_check"]


@transaction.atomic
def plan_cut(
    *,
    by: User,
    limb_plan: LimbPlan,
    code: str,
    side: str,
    bar_mm: Decimal,
    depth_mm: Decimal,
    done_on: date,
    note: str = "",
) -> PlanStep:
    """Record the cut; more than 1 mm too shallow is kept as failed and has to be cut again."""
    step = _done(
        lambda: steps.plan_cut(
            plan=limb_plan.plan,
            code=code,
            side=side,
            bar=bar_mm,
            depth=depth_mm,
            done_on=_past(done_on),
            done_by=str(by),
            at=timezone.now(),
            note=note,
        )
    )
    _told(
        by,
        limb_plan,
        "cut" if step.passed else "cut too shallow",
        step,
        depth_mm=str(depth_mm),
        bar_mm=str(bar_mm),
    )
    return step


@transaction.atomic
def plan_fit(
    *, by: User, limb_plan: LimbPlan, code: str, side: str, done_on: date, note: str = ""
) -> PlanStep:
    """Record that the cut insole lies in the device."""
    step = _done(
        lambda: steps.plan_fitted(
            plan=limb_plan.plan,
            code=code,
            side=side,
            done_on=_past(done_on),
            done_by=str(by),
            at=timezone.now(),
            note=note,
        )
    )
    _told(by, limb_plan, "fitted", step)
    return step


@transaction.atomic
def plan_check_contact(
    *, by: User, limb_plan: LimbPlan, touches: bool, done_on: date, note: str = ""
) -> PlanStep:
    """Record the contact check; contact puts a question mark over the plan."""
    step = _done(
        lambda: steps.plan_contact(
            plan=limb_plan.plan,
            touches=touches,
            done_on=_past(done_on),
            done_by=str(by),
            at=timezone.now(),
            note=note,
        )
    )
    _told(by, limb_plan, "found contact" if touches else "found no contact", step)
    if touches:
        plan_flag_raise(
            by=by,
            limb_plan=limb_plan,
            cause=PlanFlagCause.CONTACT,
            subject="",
            words="Contact check: the lesion touches the floor of the opening. It is not relieved; cut "
            "deeper or another layer.",
            raised_on=done_on,
        )
    return step


def seal_check(prescription: Prescription, on: date) -> None:
    """A device that stays on is sealed over a cut insole only in this order: imprint, cut, contact check,
    seal; and under no question mark over the plan. What is missing is named at once.
    """
    plan = prescription.relief_plan
    if plan is None or not prescription.takes_insole or not prescription.is_non_removable:
        return
    if plan.state == PlanState.SUPERSEDED:
        raise Refused(f"Seal: plan {plan.code} was replaced; cut and check the plan that replaced it first.")
    link = LimbPlan.objects.get(plan=plan)
    missing = [
        f"no imprint of lesion {lesion.label} is on record; take it first"
        for lesion in link.lesions.all()
        if not lesion.imprints.filter(taken_on__lte=on).exists()
    ]
    stage = {
        Stage.DRAFT: "is not signed",
        Stage.SIGNED: "is not cut",
        Stage.CUT: "is cut, but not fitted and not checked for contact",
        Stage.FITTED: "has no contact check since it was fitted",
        Stage.TOUCHES: "failed its contact check: the lesion touches the floor",
    }.get(stage_of(plan))
    if stage is not None:
        missing.append(
            f"relief plan {plan.code} {stage}; the order is imprint, cut, contact check, then seal"
        )
    # A plan carried over was checked in the device before; another device holds the insole otherwise.
    checked = plan.steps.filter(kind=StepKind.CONTACT).last()
    if stage is None and checked is not None and checked.recorded_at < prescription.signed_at:
        missing.append(
            f"relief plan {plan.code} was checked for contact in the device before; check it in this one"
        )
    for flag in link.flags.filter(answer=""):
        missing.append(
            f"a podiatrist has to answer the question over plan {plan.code} first ({flag.words.rstrip('.')})"
        )
    if missing:
        raise Refused(f"Seal: {'; '.join(missing)}.", field="sealed")


def _done(step: Callable[[], PlanStep]) -> PlanStep:
    try:
        return step()
    except PlanRefused as refused:
        raise Refused(refused.message, field=refused.field) from refused


def _past(day: date) -> date:
    today = timezone.localdate()
    if day > today:
        raise Refused(f"Done on: {day:%-d %b %Y}; the limit is today, {today:%-d %b %Y}.", field="done_on")
    return day


def _told(by: User, limb_plan: LimbPlan, verb: str, step: PlanStep, **detail: Any) -> None:
    person = limb_plan.limb.person
    audit.record(
        by=by,
        site=person.site,
        verb=verb,
        target=limb_plan,
        person=person,
        code=limb_plan.plan.code,
        step=step.pk,
        **detail,
    )


@transaction.atomic
def plan_measure(
    *,
    by: User,
    limb_plan: LimbPlan,
    label: str,
    measured_on: date,
    without_kpa: float,
    with_kpa: float,
    from_map: bool = False,
    note: str = "",
) -> PlanMeasurement:
    """Keep peaks measured in the shoe at one lesion, without and with the cut."""
    today = timezone.localdate()
    if measured_on > today:
        raise Refused(
            f"Measured on: {measured_on:%-d %b %Y}; the limit is today, {today:%-d %b %Y}.",
            field="measured_on",
        )
    try:
        row = plan_measured(
            plan=limb_plan.plan,
            label=label,
            measured_on=measured_on,
            without_kpa=without_kpa,
            with_kpa=with_kpa,
            from_map=from_map,
            note=note,
            made_by=str(by),
            at=timezone.now(),
        )
    except PlanRefused as refused:
        raise Refused(refused.message, field=refused.field) from refused
    person = limb_plan.limb.person
    audit.record(
        by=by,
        site=person.site,
        verb="measured",
        target=limb_plan,
        person=person,
        code=limb_plan.plan.code,
        measurement=row.pk,
    )
    return row
