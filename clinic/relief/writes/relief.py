"""The relief plan of a limb: computed for the bench, kept as a draft, signed by a podiatrist."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any

from django.db import transaction
from django.utils import timezone

from clinic.evidence.reads.raising import is_urgent
from clinic.evidence.reads.standing import standing_of
from clinic.models import Imprint, ImprintHow, Limb, LimbPlan, User
from clinic.record.dates import day_words
from clinic.record.errors import Conflict, Refused
from clinic.record.writes import audit
from clinic.record.writes.rows import store
from clinic.relief.reads.relief_record import (
    CutChoice,
    LesionShape,
    LimbRecord,
    limb_record,
    obstacle,
    relief_spec,
    remarks,
)
from clinic.relief.reads.rules_now import changed_since
from clinic.relief.writes.watch import watch_write
from offload.core.plan.checks import plantar_check
from offload.plans import keeping as plans
from offload.plans.estimates import FULL, LIVE, Estimate, departures_of, plan_estimate

__all__ = ["plan_draft", "plan_sign", "relief_preview"]


def relief_preview(
    *, record: LimbRecord, shapes: Sequence[LesionShape], choice: CutChoice, live: bool = False
) -> tuple[Estimate, tuple[str, ...]]:
    """Compute what stands on the bench without keeping it: the plan, and where it departs from house rules.

    `live` answers at once, on coarse cells at central tissue and without other cuts.
    """
    extra = remarks(record, shapes, choice)
    estimate = plan_estimate(
        relief_spec(record, shapes, choice),
        policy=record.policy,
        remarks=extra,
        foams=record.foams,
        effort=LIVE if live else FULL,
    )
    return estimate, departures_of(estimate.plan, extra)


@transaction.atomic
def plan_draft(
    *,
    by: User,
    limb: Limb,
    shapes: Sequence[LesionShape],
    choice: CutChoice | None = None,
    departure_reason: str = "",
) -> LimbPlan:
    """Keep a draft plan for a limb, with the imprint of each lesion. It replaces the plan in force once
    signed.

    The same draft sent twice is kept once.
    """
    # One writer at a time on a limb, so that a form sent twice finds the draft of the first.
    Limb.objects.select_for_update().get(pk=limb.pk)
    record = limb_record(limb)
    _refuse_foreign(record, shapes)
    made = choice or record.house_choice
    last = LimbPlan.objects.filter(limb=limb).select_related("plan").order_by("-pk").first()
    plan = plans.plan_create(
        spec=relief_spec(record, shapes, made),
        made_by=str(by),
        at=timezone.now(),
        policy=record.policy,
        remarks=remarks(record, shapes, made),
        foams=record.foams,
        replaces=record.in_force,
        departure_reason=departure_reason,
        unless=last.plan if last else None,
    )
    if last is not None and plan.pk == last.plan_id:
        return last
    imprints = [imprint.pk for shape in shapes if (imprint := _keep_imprint(by, shape, record.day))]
    measured = record.chosen_map(made)
    stored = store(LimbPlan(limb=limb, plan=plan, measured_map=measured), by=by)
    stored.lesions.set([shape.lesion for shape in shapes])
    audit.record(
        by=by,
        site=limb.person.site,
        verb="drafted",
        target=stored,
        person=limb.person,
        code=plan.code,
        number=plan.number,
        sha256=plan.sha256,
        lesions=[shape.lesion.pk for shape in shapes],
        imprints=imprints,
        measured_map=measured.pk if measured else None,
    )
    return stored


@transaction.atomic
def plan_sign(
    *, by: User, limb_plan: LimbPlan, expected_version: int, departure_reason: str = ""
) -> LimbPlan:
    """Sign a draft and give it to the limb's running device, if that takes an insole."""
    limb = limb_plan.limb
    record = limb_record(limb)
    if limb.person.red_flags.filter(answer="").exists():
        raise Refused("A red flag of this person is not answered yet; no plan is signed until it is.")
    _refuse_danger(record)
    _refuse_outdated(record, limb_plan)
    try:
        signed = plans.sign(
            plan=limb_plan.plan,
            signed_by=str(by),
            at=timezone.now(),
            expected_version=expected_version,
            departure_reason=departure_reason,
        )
    except plans.PlanChanged as changed:
        raise Conflict(changed.message) from changed
    except plans.PlanRefused as refused:
        raise Refused(refused.message, field=refused.field) from refused
    limb_plan.plan = signed
    detail: dict[str, Any] = {"watch_points": len(watch_write(by=by, limb_plan=limb_plan))}
    if record.running is not None and record.running.takes_insole:
        record.running.relief_plan = signed
        store(record.running, by=by, why=f"relief plan {signed.code} signed")
        detail["prescription"] = record.running.pk
    audit.record(
        by=by,
        site=limb.person.site,
        verb="signed",
        target=limb_plan,
        person=limb.person,
        code=signed.code,
        number=signed.number,
        sha256=signed.sha256,
        replaces=signed.replaces.code if signed.replaces else None,
        departure_reason=signed.departure_reason,
        **detail,
    )
    return limb_plan


def _refuse_foreign(record: LimbRecord, shapes: Sequence[LesionShape]) -> None:
    found = obstacle(record, [shape.lesion for shape in shapes])
    if found is not None:
        raise Refused(found.message)
    for shape in shapes:
        if shape.lesion.limb_id != record.limb.pk:
            raise Refused(f"Lesion {shape.lesion.label} is not on this limb.")
        if not shape.lesion.is_open:
            raise Refused(
                f"Lesion {shape.lesion.label} is {shape.lesion.get_state_display().lower()}, not open."
            )
        if shape.how not in ImprintHow.values:
            raise Refused(
                f"How the place of lesion {shape.lesion.label} was found is {shape.how!r}; the limit is one "
                "of "
                f"{', '.join(ImprintHow.values)}.",
                field="how",
            )
        if not shape.lesion.foot_site.insole_plan:
            raise Refused(plantar_check(shape.lesion.label, shape.lesion.foot_site.surface).message)


def _refuse_danger(record: LimbRecord) -> None:
    """No plan is signed over an urgent danger that nobody has taken, nor for a device that stays on where
    blood or infection do not allow it.
    """
    foot = standing_of(record.limb, record.day)
    untaken = [danger for danger in foot.to_raise if is_urgent(danger)]
    if untaken:
        raise Refused(
            f"{untaken[0].words} No team has taken this danger with a next date; until one has, no plan is "
            "signed."
        )
    # Against a known danger two clinicians sign; their device is asked about at the sealing.
    running = record.running
    stays_on = running is not None and running.is_non_removable and not running.overriding
    if stays_on and not foot.worst.running_allowed:
        raise Refused(
            f"The running device stays on, and this foot does not allow it. "
            f"{' '.join(foot.worst.withheld_because)}"
        )


def _refuse_outdated(record: LimbRecord, limb_plan: LimbPlan) -> None:
    """A plan is signed for the foot, the weight and the house rules of today, not of the day it was drawn."""
    spec, limb = limb_plan.plan.spec, record.limb
    now = {
        "body_weight_kg": float(record.weight.kg) if record.weight else None,
        "foot_length_mm": float(limb.foot_length_mm) if limb.foot_length_mm is not None else None,
        "foot_width_mm": float(limb.foot_breadth_mm) if limb.foot_breadth_mm is not None else None,
    }
    for name, value in now.items():
        if spec.get(name) != value:
            what, unit = name.rsplit("_", 1)
            words = "nothing" if value is None else f"{value:g} {unit}"
            was = "nothing" if spec.get(name) is None else f"{spec[name]:g} {unit}"
            raise Refused(
                f"The {what.replace('_', ' ')} on record is now {words}, and this plan was computed for "
                f"{was}: start a "
                "new version from it."
            )
    changed = changed_since(record, limb_plan)
    if changed:
        raise Refused(
            f"The house rules changed since this plan was drawn. {' '.join(changed)} Start a new version "
            "from it."
        )
    measured = limb_plan.measured_map
    if measured is not None and measured not in record.maps:
        raise Refused(
            f"The measured map of {day_words(measured.measured_on)}, from which this plan's pressures start, "
            "was "
            "withdrawn: start a new version from it."
        )
    closed = [lesion.label for lesion in limb_plan.lesions.all() if not lesion.is_open]
    if closed:
        raise Refused(f"Lesion {', '.join(closed)} is no longer open: start a new version without it.")


def _keep_imprint(by: User, shape: LesionShape, day: date) -> Imprint | None:
    """Store where the lesion lies, unless the last imprint says the same already."""
    ring = [[round(x, 2), round(y, 2)] for x, y in shape.outline.exterior]
    last = shape.lesion.imprints.order_by("-taken_on", "-pk").first()
    if last is not None and last.outline_mm == ring and last.how == shape.how:
        return None
    note = "Placed from the site name; not yet moved to the imprint." if shape.from_site_name else ""
    return store(Imprint(lesion=shape.lesion, taken_on=day, how=shape.how, outline_mm=ring, note=note), by=by)
