"""The relief plan of a limb: computed for the bench, kept as a draft, signed by a podiatrist."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import date
from typing import Any

from django.db import transaction
from django.utils import timezone

from clinic.alerts.writes.flags import no_open_flag
from clinic.evidence.reads.raising import is_urgent
from clinic.evidence.reads.standing import LimbStanding, standing_of
from clinic.lesions.states import ulcer_allowed
from clinic.models import Imprint, ImprintHow, Limb, LimbPlan, User
from clinic.record.errors import Conflict, Refused, Way
from clinic.record.lifecycle import all_missing
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
from clinic.relief.reads.rules_now import outdated
from clinic.relief.states import limb_plan_allowed
from clinic.relief.writes.watch import watch_write
from offload.core.plan.checks import plantar_check
from offload.plans import keeping as plans
from offload.plans.estimates import FULL, Effort, Estimate, departures_of, plan_estimate

__all__ = ["plan_draft", "plan_sign", "relief_preview"]


def relief_preview(
    *, record: LimbRecord, shapes: Sequence[LesionShape], choice: CutChoice, effort: Effort | None = None
) -> tuple[Estimate, tuple[str, ...]]:
    """Compute what stands on the bench without keeping it: the plan, and where it departs from house rules.

    `effort` is LIVE while a lesion is dragged, SURE where chances are asked for too, else that of kept plans.
    """
    extra = remarks(record, shapes, choice)
    estimate = plan_estimate(
        relief_spec(record, shapes, choice),
        policy=record.policy,
        remarks=extra,
        foams=record.foams,
        effort=effort or FULL,
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
    *,
    by: User,
    limb_plan: LimbPlan,
    expected_version: int,
    departure_reason: str = "",
    shut_reason: str = "",
) -> LimbPlan:
    """Sign a draft and give it to the limb's running device, if that takes an insole. `shut_reason`: why it
    is cut although the space under all of an ulcer is predicted to close.
    """
    limb_plan_allowed(limb_plan, "sign")
    limb = limb_plan.limb
    # One signature at a time on a limb, so that two drafts do not both come in force.
    Limb.objects.select_for_update().get(pk=limb.pk)
    record = limb_record(limb)
    foot = standing_of(limb, record.day)
    all_missing(
        lambda: no_open_flag(limb.person, "no plan is signed until it is."),
        lambda: _untaken_check(record, foot),
        lambda: _stays_on_check(record, foot),
        *_outdated_checks(record, limb_plan),
        # Of a plan that changed since the page was opened nothing is asked: its page is opened anew.
        *(
            _unsaid_checks(limb_plan, departure_reason, shut_reason)
            if limb_plan.plan.version == expected_version
            else ()
        ),
    )
    try:
        signed = plans.sign(
            plan=limb_plan.plan,
            signed_by=str(by),
            at=timezone.now(),
            expected_version=expected_version,
            departure_reason=departure_reason,
            shut_reason=shut_reason,
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
        shut_reason=signed.shut_reason,
        **detail,
    )
    return limb_plan


def _refuse_foreign(record: LimbRecord, shapes: Sequence[LesionShape]) -> None:
    found = obstacle(record, [shape.lesion for shape in shapes])
    if found is not None:
        raise Refused(found.message)
    for shape in shapes:
        if shape.lesion.limb_id != record.limb.pk:
            raise Refused(f"Ulcer {shape.lesion.label} is not on this limb.")
        ulcer_allowed(shape.lesion, "plan")
        if shape.how not in ImprintHow.values:
            raise Refused(
                f"How the place of ulcer {shape.lesion.label} was found is {shape.how!r}; the limit is one "
                "of "
                f"{', '.join(ImprintHow.values)}.",
                field="how",
            )
        if not shape.lesion.foot_site.insole_plan:
            raise Refused(plantar_check(shape.lesion.label, shape.lesion.foot_site.surface).message)


def _untaken_check(record: LimbRecord, foot: LimbStanding) -> None:
    """No plan is signed over an urgent danger that nobody has taken."""
    untaken = [danger for danger in foot.to_raise if is_urgent(danger)]
    if untaken:
        raise Refused(
            f"{untaken[0].words} No team has taken this danger with a next date; until one has, no plan is "
            "signed.",
            way=Way("dangers", record.limb.pk, "Name the team that has it"),
        )


def _stays_on_check(record: LimbRecord, foot: LimbStanding) -> None:
    """Nor is one signed for a device that stays on where blood or infection do not allow it."""
    # Against a known danger two clinicians sign; their device is asked about at the sealing.
    running = record.running
    stays_on = running is not None and running.is_non_removable and not running.overriding
    if stays_on and not foot.worst.running_allowed:
        raise Refused(
            f"The running device stays on, and this foot does not allow it. "
            f"{' '.join(foot.worst.withheld_because)}",
            way=Way("prescription", running.pk, "Look at the device"),  # type: ignore[union-attr]
        )


def _outdated_checks(record: LimbRecord, limb_plan: LimbPlan) -> list[Callable[[], None]]:
    """A plan is signed for the foot, the weight and the house rules of today, not of the day it was drawn:
    one check for each sentence that says otherwise.
    """
    anew = Way("bench", record.limb.pk, "Start a new version")

    def refuse(words: str) -> Callable[[], None]:
        def check() -> None:
            raise Refused(words, way=anew)

        return check

    return [refuse(words) for words in outdated(record, limb_plan)]


def _unsaid_checks(limb_plan: LimbPlan, departure_reason: str, shut_reason: str) -> list[Callable[[], None]]:
    """The words that the relief program asks of a signature."""

    def refuse(missing: plans.PlanRefused) -> Callable[[], None]:
        def check() -> None:
            raise Refused(missing.message, field=missing.field) from missing

        return check

    missing = plans.unsaid(limb_plan.plan, departure_reason=departure_reason, shut_reason=shut_reason)
    return [refuse(one) for one in missing]


def _keep_imprint(by: User, shape: LesionShape, day: date) -> Imprint | None:
    """Store where the lesion lies, unless the last imprint says the same already."""
    ring = [[round(x, 2), round(y, 2)] for x, y in shape.outline.exterior]
    last = shape.lesion.imprints.order_by("-taken_on", "-pk").first()
    if last is not None and last.outline_mm == ring and last.how == shape.how:
        return None
    note = "Placed from the name of the place; not yet moved to the imprint." if shape.from_site_name else ""
    return store(Imprint(lesion=shape.lesion, taken_on=day, how=shape.how, outline_mm=ring, note=note), by=by)
