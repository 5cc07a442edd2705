"""Cutting, fitting and checking a signed relief plan, recorded on the person's page."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import date
from decimal import Decimal
from typing import Any

from django.db import transaction
from django.utils import timezone

from clinic.models import SEALED, LimbPlan, PlanFlagCause, Prescription, User
from clinic.record.dates import day_words
from clinic.record.errors import Refused
from clinic.record.lifecycle import allowed
from clinic.record.writes import audit
from clinic.relief.states import imprint_on, imprint_state, limb_plan_allowed, limb_plan_state, plan_state
from clinic.relief.writes.plan_flags_back import plan_flags_withdraw
from clinic.relief.writes.watch import plan_flag_raise
from offload.core.plan.contact import CLEAN, PLACES, TOUCHED, UNREADABLE
from offload.models import PlanMeasurement, PlanStep, ReliefPlan, StepKind
from offload.plans import steps as steps
from offload.plans.keeping import PlanRefused
from offload.plans.measurements import plan_measured

__all__ = [
    "plan_check_contact",
    "plan_cut",
    "plan_fit",
    "plan_measure",
    "plan_step_take_back",
    "seal_check",
]

#: What the audit says of a contact check by its result.
CONTACT_VERBS = {
    CLEAN: "found no contact",
    TOUCHED: "found contact",
    UNREADABLE: "could not read the contact check of",
}


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
    limb_plan_allowed(limb_plan, "cut")
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
    if step.beyond_mm > steps.DEEPER:
        plan_flag_raise(
            by=by,
            limb_plan=limb_plan,
            cause=PlanFlagCause.DEPTH,
            subject=f"step {step.pk}",
            words=f"Cut {step.depth_mm} mm deep, {step.beyond_mm} mm deeper than the plan: "
            "the base of the opening is thinner than planned. Make a new version for this depth, or "
            "say why it stands.",
            raised_on=done_on,
        )
    return step


@transaction.atomic
def plan_fit(
    *, by: User, limb_plan: LimbPlan, code: str, side: str, done_on: date, note: str = ""
) -> PlanStep:
    """Record that the cut insole lies in the device."""
    limb_plan_allowed(limb_plan, "fit")
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
    *,
    by: User,
    limb_plan: LimbPlan,
    found: str,
    method: str,
    dummy_marked: bool | None,
    where: Sequence[str] = (),
    done_on: date,
    note: str = "",
) -> PlanStep:
    """Record the contact check; contact puts a question mark over the plan."""
    limb_plan_allowed(limb_plan, "check")
    step = _done(
        lambda: steps.plan_contact(
            plan=limb_plan.plan,
            found=found,
            method=method,
            dummy_marked=dummy_marked,
            where=where,
            done_on=_past(done_on),
            done_by=str(by),
            at=timezone.now(),
            note=note,
        )
    )
    _told(by, limb_plan, CONTACT_VERBS[found], step, method=method, where=step.where)
    if step.touches:
        plan_flag_raise(
            by=by,
            limb_plan=limb_plan,
            cause=PlanFlagCause.CONTACT,
            subject="",
            words=contact_words(step),
            raised_on=done_on,
        )
    return step


@transaction.atomic
def plan_step_take_back(*, by: User, limb_plan: LimbPlan, step: PlanStep, reason: str) -> PlanStep:
    """The newest step was entered in error. A question that it raised goes with it; a device that is sealed
    over a check taken back is asked about.
    """
    if step.plan_id != limb_plan.plan_id:
        raise Refused("This step is of another plan.")
    made = _done(
        lambda: steps.step_take_back(
            step=step,
            done_on=timezone.localdate(),
            done_by=str(by),
            at=timezone.now(),
            because=reason,
        )
    )
    _told(by, limb_plan, "took back a step of", made, reason=reason.strip())
    plan = ReliefPlan.objects.get(pk=limb_plan.plan_id)  # a page may have fetched its steps before
    raised = limb_plan.flags.standing().filter(answer="")
    if step.kind == StepKind.CONTACT and step.touches and not _still_touches(plan):
        plan_flags_withdraw(by=by, flags=raised.filter(cause=PlanFlagCause.CONTACT), reason=reason)
    plan_flags_withdraw(
        by=by, flags=raised.filter(cause=PlanFlagCause.DEPTH, subject=f"step {step.pk}"), reason=reason
    )
    sealed = Prescription.objects.filter(SEALED, relief_plan=limb_plan.plan_id)
    if plan_state(plan) != steps.Stage.CHECKED and sealed.exists():
        plan_flag_raise(
            by=by,
            limb_plan=limb_plan,
            cause=PlanFlagCause.CONTACT,
            subject="sealed",
            words="The device is sealed over an insole whose contact check was taken back: open it and "
            "check.",
            raised_on=timezone.localdate(),
        )
    return made


def contact_words(step: PlanStep) -> str:
    """What a contact found asks for."""
    ways = dict.fromkeys(PLACES[one.rpartition(":")[2]][1] for one in step.where)
    return (
        f"Contact check: the ulcer touches its opening ({step.where_words}). It is not relieved there; "
        f"{', '.join(ways)}."
    )


def _still_touches(plan: ReliefPlan) -> bool:
    """Whether a contact found since the last cut stands beside the one taken back."""
    found = False
    for step in steps.standing_steps(plan):
        if step.kind == StepKind.CUT:
            found = False
        elif step.kind == StepKind.CONTACT and step.touches:
            found = True
    return found


def seal_check(prescription: Prescription, on: date) -> None:
    """A device that stays on is sealed over a cut insole only in this order: imprint, cut, contact check,
    seal; and under no question mark over the plan. What is missing is named at once.
    """
    plan = prescription.relief_plan
    if plan is None or not prescription.takes_insole or not prescription.is_non_removable:
        return
    link = LimbPlan.objects.get(plan=plan)
    missing: list[str] = []

    def ask(noun: str, state: str, **names: str) -> bool:
        try:
            allowed(noun, state, "seal", **names)
        except Refused as refused:
            missing.append(refused.message)
            return False
        return True

    for lesion in link.lesions.all():
        ask("imprint", imprint_state(imprint_on(lesion, on)), label=lesion.label)
    day = day_words(link.ended_on) if link.ended_on else ""
    because = link.ended_because
    ready = ask("plan", limb_plan_state(link), code=plan.code, day=day, because=because)
    # A plan carried over was checked in the device before; another device holds the insole otherwise.
    contacts = [step for step in steps.standing_steps(plan) if step.kind == StepKind.CONTACT]
    checked = contacts[-1] if contacts else None
    if ready and checked is not None and checked.recorded_at < prescription.signed_at:
        missing.append(
            f"relief plan {plan.code} was checked for contact in the device before; check it in this one"
        )
    for flag in link.flags.standing().filter(answer=""):
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
    target_kind: str,
    target: float | None = None,
    from_map: bool = False,
    note: str = "",
) -> PlanMeasurement:
    """Keep peaks measured in the shoe at one lesion, without and with the cut, beside what was asked."""
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
            target_kind=target_kind,
            target=target,
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
