"""Watch points of signed plans, what visits find there, and the question marks over a plan that follow."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime

from django.db import transaction
from django.utils import timezone

from clinic.models import (
    HITS,
    Found,
    Lesion,
    LimbPlan,
    Measurement,
    Person,
    PlanFlag,
    PlanFlagCause,
    User,
    Visit,
    VisitState,
    WatchFinding,
    WatchPoint,
)
from clinic.record.dates import day_words
from clinic.record.errors import Refused
from clinic.record.writes import audit
from clinic.record.writes.rows import store
from offload.models import PlanState
from offload.plans.stored import share_outside

__all__ = [
    "CHANGED",
    "plan_flag_answer",
    "plan_flag_raise",
    "plans_review",
    "watch_found",
    "watch_write",
]

#: A weight this far on the other side of the threshold counts at once, a smaller step when it is read twice
#: [kg].
CLEARLY_BEYOND = 2.0
#: Share by which a wound has grown since its plan was signed, or of its new imprint that lies outside the
#: planned outline, that asks for a look at the plan; design choice.
CHANGED = 0.25


def watch_write(*, by: User, limb_plan: LimbPlan) -> list[WatchPoint]:
    """Keep the places a signed plan asks to look at; call inside the signature's transaction."""
    return [
        store(
            WatchPoint(
                limb_plan=limb_plan,
                kind=point["kind"],
                words=point["words"],
                x_mm=point["at_mm"][0],
                y_mm=point["at_mm"][1],
                before_kpa=point["before_kpa"],
                after_kpa=point["after_kpa"],
            ),
            by=by,
        )
        for point in limb_plan.plan.result.get("watch_points", ())
    ]


def watch_found(*, by: User, visit: Visit, answers: Mapping[int, str]) -> list[WatchFinding]:
    """Keep what a visit found at watch points; a hit flags the plan. Call inside the visit's transaction."""
    found_at = {pk: found for pk, found in answers.items() if found}
    if not found_at:
        return []
    points = {
        point.pk: point
        for point in WatchPoint.objects.filter(
            pk__in=found_at, limb_plan__limb__person=visit.person_id, limb_plan__plan__state=PlanState.SIGNED
        ).select_related("limb_plan__limb__person__site", "limb_plan__plan")
    }
    if set(points) != set(found_at):
        raise Refused("The watch points have changed since this page was opened; look again before saving.")
    rows = []
    for pk, found in found_at.items():
        if found not in Found.values:
            raise Refused(f"Watch point: {found} is not one of {', '.join(Found.values)}.")
        rows.append(store(WatchFinding(point=points[pk], visit=visit, found=found), by=by))
        if found in HITS:
            point = points[pk]
            plan_flag_raise(
                by=by,
                limb_plan=point.limb_plan,
                cause=PlanFlagCause.WATCH,
                subject=str(pk),
                words=f"{point.words}: {Found(found).label.lower()}, at the visit of "
                f"{day_words(visit.visited_on)}; the estimate "
                f"was {point.after_kpa:.0f} kPa.",
                raised_on=visit.visited_on,
            )
    return rows


def plan_flag_raise(
    *, by: User, limb_plan: LimbPlan, cause: str, subject: str, words: str, raised_on: date
) -> PlanFlag | None:
    """Put a question mark over a plan, once while it stands; call inside the transaction of its cause."""
    if PlanFlag.objects.filter(limb_plan=limb_plan, cause=cause, subject=subject, answer="").exists():
        return None
    flag = store(
        PlanFlag(limb_plan=limb_plan, cause=cause, subject=subject, words=words, raised_on=raised_on), by=by
    )
    person = limb_plan.limb.person
    audit.record(
        by=by,
        site=person.site,
        verb="flagged",
        target=flag,
        person=person,
        code=limb_plan.plan.code,
        cause=cause,
    )
    return flag


@transaction.atomic
def plan_flag_answer(*, by: User, flag: PlanFlag, answer: str, expected_version: int) -> PlanFlag:
    """Say why the plan stands all the same; the other answer is a new plan."""
    if flag.answer:
        raise Refused("This question was answered already.")
    if len(answer.strip()) < 3:
        raise Refused("Why the plan stands: missing; a word at least is asked.", field="answer")
    flag.answer, flag.answered_at, flag.answered_by = answer.strip(), timezone.now(), by
    store(flag, by=by, expected_version=expected_version)
    person = flag.limb_plan.limb.person
    audit.record(by=by, site=person.site, verb="answered", target=flag, person=person, cause=flag.cause)
    return flag


def plans_review(*, by: User, person: Person, day: date) -> None:
    """Hold the person's signed plans against the newest weight and areas; call where either was written."""
    plans = list(
        LimbPlan.objects.filter(limb__person=person, plan__state=PlanState.SIGNED)
        .select_related("plan", "limb__person__site")
        .prefetch_related("lesions")
    )
    if not plans:
        return
    weights = [
        float(kg) for kg in person.weights.order_by("-measured_on", "-pk").values_list("kg", flat=True)[:2]
    ]
    for limb_plan in plans:
        _review_weight(by, limb_plan, weights, day)
        _review_outlines(by, limb_plan, day)


def _review_weight(by: User, limb_plan: LimbPlan, weights: list[float], day: date) -> None:
    result, planned = limb_plan.plan.result, limb_plan.plan.spec.get("body_weight_kg")
    if planned is None or not weights or "policy" not in result:
        return
    if PlanFlag.objects.filter(limb_plan=limb_plan, cause=PlanFlagCause.WEIGHT).exists():
        return  # once for a plan: the next one is computed with the new weight
    threshold = float(result["policy"]["weight_threshold"])
    above = float(planned) >= threshold
    beyond = [(kg >= threshold) != above for kg in weights]
    clear = beyond[0] and abs(weights[0] - threshold) >= CLEARLY_BEYOND
    if clear or (len(beyond) == 2 and all(beyond)):
        plan_flag_raise(
            by=by,
            limb_plan=limb_plan,
            cause=PlanFlagCause.WEIGHT,
            subject="",
            words=f"Weight is now {weights[0]:g} kg; the plan was made for {float(planned):g} kg, on the "
            "other side of the "
            f"threshold of {threshold:g} kg, so the policy would cut another layer.",
            raised_on=day,
        )


def _review_outlines(by: User, limb_plan: LimbPlan, day: date) -> None:
    signed = limb_plan.plan.signed_at
    if signed is None:
        return
    raised = set(
        PlanFlag.objects.filter(limb_plan=limb_plan, cause=PlanFlagCause.OUTLINE).values_list(
            "subject", flat=True
        )
    )
    for lesion in limb_plan.lesions.all():
        subject = f"lesion {lesion.pk}"
        if subject in raised:
            continue
        words = _grown(lesion, signed) or _moved(limb_plan, lesion, signed)
        if words:
            plan_flag_raise(
                by=by,
                limb_plan=limb_plan,
                cause=PlanFlagCause.OUTLINE,
                subject=subject,
                words=words,
                raised_on=day,
            )


def _grown(lesion: Lesion, signed: datetime) -> str:
    """Words when the wound is larger than at the signature by the set share; a smaller one lies over the
    cut as before.
    """
    areas = Measurement.objects.filter(
        lesion=lesion, visit__state=VisitState.STANDS, area_mm2__gt=0
    ).order_by("-visit__visited_on", "-pk")
    then = areas.filter(visit__visited_on__lte=timezone.localtime(signed).date()).first()
    now = areas.first()
    if then is None or now is None or not then.area_mm2 or not now.area_mm2:
        return ""
    share = float(now.area_mm2) / float(then.area_mm2) - 1.0
    if share < CHANGED:
        return ""
    return (
        f"Lesion {lesion.label} has grown by {100 * share:.0f} % since the plan was signed "
        f"({then.area_mm2 / 100:.2f} to "
        f"{now.area_mm2 / 100:.2f} cm²): take the imprint again."
    )


def _moved(limb_plan: LimbPlan, lesion: Lesion, signed: datetime) -> str:
    """Words when the newest imprint lies outside the outline of the plan by the set share of itself."""
    imprint = lesion.imprints.filter(created_at__gt=signed).order_by("-taken_on", "-pk").first()
    if imprint is None:
        return ""
    share = share_outside(limb_plan.plan.spec, lesion.label, imprint.outline_mm)
    if share < CHANGED:
        return ""
    return (
        f"{100 * share:.0f} % of the imprint of {day_words(imprint.taken_on)} of lesion {lesion.label} lie "
        "outside the outline the plan "
        "was made for: make a new version."
    )
