"""A visit entered in error: it and everything it left are taken back, but what is kept for a reason."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping
from typing import Any

from django.db import transaction
from django.utils import timezone

from clinic.alerts.writes.flags_back import flag_withdraw
from clinic.alerts.writes.results import result_withdraw
from clinic.alerts.writes.standing import dangers_raise
from clinic.capture.writes.photo_corrections import photo_withdraw
from clinic.devices.writes.wear_back import opening_take_back, sealing_take_back
from clinic.lesions.writes.closure_back import closure_take_back, reopening_take_back
from clinic.models import Person, PlanFlag, Prescription, User, Visit, VisitState
from clinic.people.writes.weights import weight_withdraw
from clinic.record.errors import Refused
from clinic.record.writes import audit
from clinic.record.writes.rows import store
from clinic.relief.writes.plan_flags_back import plan_flags_reconsider
from clinic.visits.traces_left import VisitTrace, traces_of
from clinic.visits.writes.corrections import visit_held

__all__ = ["KEPT_WHY", "decided_check", "rows_hold", "trace_back", "visit_in_error"]

KEPT_WHY = "kept when its visit was taken back"


@transaction.atomic
def visit_in_error(
    *,
    by: User,
    visit: Visit,
    reason: str,
    expected_version: int,
    keep: Mapping[str, str] | None = None,
    take: Collection[str] = (),
) -> Visit:
    """Mark a visit as entered in error: out of every figure, still readable.

    What its own write left goes with it, but what `keep` names (key of the trace -> why it stays). What was
    entered apart on its day is kept or taken only when `keep` or `take` names it: it is refused until then.
    """
    visit = visit_held(visit, "take_back", reason)
    why, kept = reason.strip(), {key: words.strip() for key, words in (keep or {}).items()}
    traces = traces_of(visit)
    decided_check(traces, kept, take)
    rows_hold(visit.person, traces)
    visit.state, visit.error_reason = VisitState.IN_ERROR, why
    store(visit, by=by, expected_version=expected_version, why=why[:100])
    for trace in traces:
        if trace.key in kept:
            _keep(by, trace, kept[trace.key])
        else:
            trace_back(by, trace, why)
    person = visit.person
    plan_flags_reconsider(by=by, person=person, reason=why, day=timezone.localdate())
    dangers_raise(by=by, person=person)
    audit.record(
        by=by,
        site=person.site,
        verb="marked in error",
        target=visit,
        person=person,
        reason=why,
        taken_back=sorted(one.key for one in traces if one.can_go and one.key not in kept),
        kept=kept,
    )
    return visit


def rows_hold(person: Person, traces: Iterable[VisitTrace]) -> None:
    """Lock every row that is going to be written. The audit chain is locked from the first of them on, and
    nobody who waits for the chain may hold a row that we still need.
    """
    keys: dict[Any, set[int]] = defaultdict(set)
    for trace in traces:
        keys[type(trace.row)].add(trace.row.pk)
    flags = PlanFlag.objects.standing().filter(limb_plan__limb__person=person)
    keys[PlanFlag] |= set(flags.values_list("pk", flat=True))
    for model in sorted(keys, key=lambda one: one.__name__):
        list(model.objects.select_for_update().filter(pk__in=keys[model]).order_by("pk"))


def decided_check(traces: list[VisitTrace], kept: Mapping[str, str], take: Collection[str]) -> None:
    """Each trace entered apart is kept or taken, each kept one has its reason, and none is foreign."""
    by_key = {one.key: one for one in traces}
    if foreign := (set(kept) | set(take)) - set(by_key):
        raise Refused(
            f"What this visit left has changed since the page was opened: {len(foreign)}; look again."
        )
    for key, words in kept.items():
        if by_key[key].goes:
            raise Refused(f"{by_key[key].kind}: cannot stay without the visit.", field=key)
        if not words:
            raise Refused(f"{by_key[key].kind}: say why it is kept.", field=key)
    for one in traces:
        if one.can_go and not one.own and not one.goes and one.key not in kept and one.key not in take:
            raise Refused(
                f"{one.kind}: {one.words}. It was entered apart; say whether it is taken back too or kept.",
                field=one.key,
            )
    for one in traces:
        sealing = f"sealing-{one.pk}"
        if one.kind == "Opening" and sealing in kept and one.key not in kept:
            raise Refused(
                "Opening: the device was sealed again since, and that is kept; keep the opening too.",
                field=one.key,
            )


def _opening(by: User, row: Prescription, why: str) -> None:
    row.refresh_from_db()  # its sealing may have been taken back just before
    opening_take_back(by=by, prescription=row, reason=why, expected_version=row.version)


def trace_back(by: User, trace: VisitTrace, why: str) -> None:
    """Take back what has a row of its own; the rest is read from the visit, or settled on its own page."""
    row, kind = trace.row, trace.key.split("-")[0].removeprefix("day")
    if kind == "weight":
        weight_withdraw(by=by, weight=row, reason=why)
    elif kind == "photo":
        photo_withdraw(by=by, photo=row, reason=why)
    elif kind == "flag":
        flag_withdraw(by=by, flag=row, reason=why)
    elif kind == "sealing":
        sealing_take_back(by=by, prescription=row, reason=why, expected_version=row.version)
    elif kind == "opening":
        _opening(by, row, why)
    elif kind == "closing":
        closure_take_back(by=by, lesion=row, day=trace.day, reason=why)
    elif kind == "reopening":
        reopening_take_back(by=by, lesion=row, day=trace.day, reason=why)
    elif kind == "result":
        result_withdraw(by=by, result=row, withdrawn_because=why, expected_version=row.version)


def _keep(by: User, trace: VisitTrace, why: str) -> None:
    """A kept entry stands by itself: it points at the visit no more."""
    words = f"{KEPT_WHY}: {why}"[:100]
    if trace.key == "next":
        _carry_next(by, trace.row, words)
    elif trace.key.startswith("opening"):
        trace.row.opened_visit = None
        store(trace.row, by=by, why=words)
    elif trace.own and hasattr(trace.row, "visit_id"):
        trace.row.visit = None
        store(trace.row, by=by, why=words)


def _carry_next(by: User, visit: Visit, words: str) -> None:
    """The latest visit that stands carries the next date."""
    latest = visit.person.visits.filter(state=VisitState.STANDS).order_by("-visited_on", "-pk").first()
    if latest is None:
        raise Refused("Next visit: no other visit of this patient could carry the date.", field="next")
    if visit.next_on is not None and latest.visited_on < visit.next_on:
        latest.next_on = visit.next_on
        store(latest, by=by, why=words)
