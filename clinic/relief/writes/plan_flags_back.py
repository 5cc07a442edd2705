"""Questions over a plan whose ground was taken back: withdrawn, and asked again as far as it still stands."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date

from django.db import transaction

from clinic.models import (
    HITS,
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
)
from clinic.record.errors import Refused, words_needed
from clinic.record.writes import audit
from clinic.record.writes.rows import store
from clinic.record.writes.withdrawing import standing_check, withdraw
from clinic.relief.reads.plan_grounds import outline_ground, weight_ground
from clinic.relief.writes.watch import outline_subject, plan_flag_raise, plans_review, watch_raise
from offload.models import PlanState

__all__ = ["plan_flag_answer_take_back", "plan_flags_reconsider", "plan_flags_withdraw"]


@transaction.atomic
def plan_flag_answer_take_back(*, by: User, flag: PlanFlag, reason: str, expected_version: int) -> PlanFlag:
    """The question stands again; the answer and why it was taken back stay in its history."""
    standing_check(flag)
    if not flag.answer:
        raise Refused("This question is not answered; there is nothing to take back.")
    open_too = PlanFlag.objects.standing().filter(
        limb_plan=flag.limb_plan, cause=flag.cause, subject=flag.subject, answer=""
    )
    if open_too.exists():
        raise Refused("The same question was asked again since and stands open: answer that one.")
    flag.answer, flag.answered_at, flag.answered_by = "", None, None
    store(flag, by=by, expected_version=expected_version, why=words_needed(reason, "reason")[:100])
    person = flag.limb_plan.limb.person
    audit.record(
        by=by,
        site=person.site,
        verb="took back the answer to",
        target=flag,
        person=person,
        reason=reason.strip(),
    )
    return flag


def plan_flags_withdraw(*, by: User, flags: Iterable[PlanFlag], reason: str) -> list[PlanFlag]:
    """Take questions off their plans; call inside the transaction of what took their ground away."""
    gone = [withdraw(flag, by=by, reason=reason) for flag in flags]
    for flag in gone:
        person = flag.limb_plan.limb.person
        audit.record(
            by=by,
            site=person.site,
            verb="withdrew",
            target=flag,
            person=person,
            cause=flag.cause,
            reason=reason,
        )
    return gone


@transaction.atomic
def plan_flags_reconsider(*, by: User, person: Person, reason: str, day: date) -> None:
    """Ask each question about weight, outline and skin again from the rows that stand now, as each would have
    been asked day by day. Call after a weight, an area or a finding was taken back or changed.
    """
    standing = PlanFlag.objects.standing().filter(
        limb_plan__limb__person=person,
        limb_plan__plan__state=PlanState.SIGNED,
        cause__in=(PlanFlagCause.WEIGHT, PlanFlagCause.OUTLINE, PlanFlagCause.WATCH),
    )
    for flag in standing.select_related("limb_plan__plan", "limb_plan__limb__person__site"):
        if flag.cause == PlanFlagCause.WATCH:
            _watch_again(by, flag, reason)
        else:
            _ground_again(by, flag, reason)
    plans_review(by=by, person=person, day=day)


def _watch_again(by: User, flag: PlanFlag, reason: str) -> None:
    """A hit that stands keeps its flag; else the next standing hit at the same place asks in its stead."""
    if flag.visit is None or flag.visit.state == VisitState.STANDS:
        return
    plan_flags_withdraw(by=by, flags=[flag], reason=reason)
    later = WatchFinding.objects.filter(
        point=int(flag.subject),
        found__in=HITS,
        visit__state=VisitState.STANDS,
        visit__visited_on__gte=flag.raised_on,
    )
    found = later.select_related("visit", "point__limb_plan__limb__person__site", "point__limb_plan__plan")
    if hit := found.order_by("visit__visited_on", "pk").first():
        watch_raise(by=by, point=hit.point, visit=hit.visit, found=hit.found)


def _ground_again(by: User, flag: PlanFlag, reason: str) -> None:
    limb_plan = flag.limb_plan
    lesion = None
    if flag.cause == PlanFlagCause.OUTLINE:
        lesion = next((one for one in limb_plan.lesions.all() if outline_subject(one) == flag.subject), None)
        if lesion is None:
            return
    for day in _days(limb_plan, lesion, flag.raised_on):
        words = weight_ground(limb_plan, day) if lesion is None else outline_ground(limb_plan, lesion, day)
        if not words:
            continue
        if words == flag.words or flag.answer:
            return  # it would have been asked all the same
        plan_flags_withdraw(by=by, flags=[flag], reason=reason)
        plan_flag_raise(
            by=by,
            limb_plan=limb_plan,
            cause=flag.cause,
            subject=flag.subject,
            words=words,
            raised_on=day,
            visit=_visit_of(limb_plan.limb.person, day),
        )
        return
    plan_flags_withdraw(by=by, flags=[flag], reason=reason)


def _days(limb_plan: LimbPlan, lesion: Lesion | None, since: date) -> list[date]:
    """Days since a flag was raised on which its ground may have come about."""
    if lesion is None:
        rows = limb_plan.limb.person.weights.standing().filter(measured_on__gt=since)
        later = set(rows.values_list("measured_on", flat=True))
    else:
        areas = Measurement.objects.filter(
            lesion=lesion, visit__state=VisitState.STANDS, visit__visited_on__gt=since
        )
        later = set(areas.values_list("visit__visited_on", flat=True))
        later |= set(lesion.imprints.filter(taken_on__gt=since).values_list("taken_on", flat=True))
    return [since, *sorted(later)]


def _visit_of(person: Person, day: date) -> Visit | None:
    return person.visits.filter(state=VisitState.STANDS, visited_on=day).order_by("-pk").first()
