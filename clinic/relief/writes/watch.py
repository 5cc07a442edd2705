"""Watch points of signed plans, what visits find there, and the question marks over a plan that follow."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date

from django.db import transaction
from django.utils import timezone

from clinic.models import (
    HITS,
    Found,
    Lesion,
    LimbPlan,
    Person,
    PlanFlag,
    PlanFlagCause,
    User,
    Visit,
    WatchFinding,
    WatchPoint,
)
from clinic.record.dates import day_words
from clinic.record.errors import Refused
from clinic.record.writes import audit
from clinic.record.writes.rows import store
from clinic.record.writes.withdrawing import standing_check
from clinic.relief.reads.plan_grounds import outline_ground, weight_ground
from offload.models import PlanState

__all__ = [
    "outline_subject",
    "plan_flag_answer",
    "plan_flag_raise",
    "plans_review",
    "watch_found",
    "watch_raise",
    "watch_write",
]


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
            watch_raise(by=by, point=points[pk], visit=visit, found=found)
    return rows


def watch_raise(*, by: User, point: WatchPoint, visit: Visit, found: str) -> PlanFlag | None:
    """Flag the plan of a place where a visit found skin in trouble."""
    return plan_flag_raise(
        by=by,
        limb_plan=point.limb_plan,
        cause=PlanFlagCause.WATCH,
        subject=str(point.pk),
        words=f"{point.words}: {Found(found).label.lower()}, at the visit of "
        f"{day_words(visit.visited_on)}; the estimate "
        f"was {point.after_kpa:.0f} kPa.",
        raised_on=visit.visited_on,
        visit=visit,
    )


def plan_flag_raise(
    *,
    by: User,
    limb_plan: LimbPlan,
    cause: str,
    subject: str,
    words: str,
    raised_on: date,
    visit: Visit | None = None,
) -> PlanFlag | None:
    """Put a question mark over a plan, once while it stands; call inside the transaction of its cause."""
    standing = PlanFlag.objects.standing().filter(limb_plan=limb_plan, cause=cause, subject=subject)
    if standing.filter(answer="").exists():
        return None
    made = PlanFlag(limb_plan=limb_plan, cause=cause, subject=subject, words=words, raised_on=raised_on)
    made.visit = visit
    flag = store(made, by=by)
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
    standing_check(flag)
    if flag.answer:
        raise Refused("This question was answered already.")
    if len(answer.strip()) < 3:
        raise Refused("Why the plan stands: missing; a word at least is asked.", field="answer")
    flag.answer, flag.answered_at, flag.answered_by = answer.strip(), timezone.now(), by
    store(flag, by=by, expected_version=expected_version)
    person = flag.limb_plan.limb.person
    audit.record(by=by, site=person.site, verb="answered", target=flag, person=person, cause=flag.cause)
    return flag


def outline_subject(lesion: Lesion) -> str:
    """What a question about the outline of an ulcer is about, as its row says it."""
    return f"ulcer {lesion.pk}"


def plans_review(*, by: User, person: Person, day: date, visit: Visit | None = None) -> None:
    """Hold the person's signed plans against the newest weight and areas; call where either was written.
    `visit`: the one that wrote them.
    """
    plans = list(
        LimbPlan.objects.filter(limb__person=person, plan__state=PlanState.SIGNED, ended_on=None)
        .select_related("plan", "limb__person__site")
        .prefetch_related("lesions")
    )
    for limb_plan in plans:
        raised = set(
            PlanFlag.objects.standing()
            .filter(limb_plan=limb_plan, cause__in=(PlanFlagCause.WEIGHT, PlanFlagCause.OUTLINE))
            .values_list("cause", "subject")
        )
        grounds = {(PlanFlagCause.WEIGHT.value, ""): weight_ground(limb_plan)}
        for lesion in limb_plan.lesions.all():
            key = (PlanFlagCause.OUTLINE.value, outline_subject(lesion))
            grounds[key] = outline_ground(limb_plan, lesion)
        for (cause, subject), words in grounds.items():
            # Once for a plan: the next one is computed with the new weight or imprint.
            if words and (cause, subject) not in raised:
                plan_flag_raise(
                    by=by,
                    limb_plan=limb_plan,
                    cause=cause,
                    subject=subject,
                    words=words,
                    raised_on=day,
                    visit=visit,
                )
