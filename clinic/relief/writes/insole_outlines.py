"""The outline of the real insole: kept for the device it lies in, withdrawn when it was wrong."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any

import numpy as np
from django.db import transaction
from django.utils import timezone

from clinic.capture.writes.measurement import parts_of
from clinic.models import (
    InsoleOutline,
    Limb,
    OutlineHow,
    PhotoSubject,
    PlanFlagCause,
    Prescription,
    Trace,
    User,
)
from clinic.people.reads.limbs import drawn_insole
from clinic.record.dates import day_words
from clinic.record.errors import Refused
from clinic.record.writes import audit
from clinic.record.writes.rows import store
from clinic.record.writes.withdrawing import withdraw
from clinic.relief.writes.watch import plan_flag_raise
from offload.core.errors import ReliefError
from offload.core.shapes.edge_fit import evenly
from offload.core.shapes.imprint import RealInsole, checked_outline, real_insole
from offload.core.shapes.insole import Insole
from offload.core.shapes.outline import Outline
from offload.models import PlanState

__all__ = ["outline_from_points", "outline_from_trace", "outline_of_trace", "outline_withdraw"]

MOST_POINTS = 180  # of a kept outline: about 4 mm apart, a tenth of a millimetre off the edge between them
Point = tuple[float, float]


def drawn_for(limb: Limb) -> Insole:
    """The insole drawn from the foot's length; refused while that is not on record."""
    drawn = drawn_insole(limb)
    if drawn is None:
        raise Refused("Foot length: not recorded; an outline is checked against it. Record it first.")
    return drawn


def outline_of_trace(limb: Limb, trace: Trace) -> RealInsole:
    """The traced edge of an insole in the anatomical frame, without keeping it."""
    if trace.scale.photo.subject != PhotoSubject.INSOLE:
        raise Refused("This trace is of the ulcer itself; an outline is traced on a photo of the insole.")
    try:
        return real_insole(drawn_for(limb), limb.side, parts_of(trace.outline_mm)[0][0])
    except ReliefError as fault:
        raise Refused(_sentence(fault)) from fault


@transaction.atomic
def outline_from_trace(*, by: User, limb: Limb, trace: Trace, note: str = "") -> InsoleOutline:
    """Keep the traced edge of a photographed insole as the outline of the insole in the running device."""
    ring = outline_of_trace(limb, trace).outline
    photo = trace.scale.photo
    return _keep(by, limb, ring, photo.taken_on, OutlineHow.PHOTO, note, trace)


@transaction.atomic
def outline_from_points(
    *, by: User, limb: Limb, taken_on: date, points: Sequence[Point], note: str = ""
) -> InsoleOutline:
    """Keep an outline whose points were read off the printed grid, from the heel edge and the long axis."""
    if taken_on > timezone.localdate():
        raise Refused(
            f"Taken on: {day_words(taken_on)}; the limit is today, {day_words(timezone.localdate())}.",
            field="taken_on",
        )
    drawn = drawn_for(limb)
    try:
        ring = checked_outline(drawn, points)
    except ReliefError as fault:
        raise Refused(_sentence(fault), field="points") from fault
    return _keep(by, limb, ring, taken_on, OutlineHow.GRID, note, None)


@transaction.atomic
def outline_withdraw(
    *, by: User, outline: InsoleOutline, reason: str, expected_version: int | None = None
) -> InsoleOutline:
    """Take a wrong outline out of use; the one before it, or the drawn insole, stands again."""
    withdraw(outline, by=by, reason=reason, expected_version=expected_version)
    _tell(by, outline, "withdrew", reason=reason.strip())
    _question_plans(by, outline, "was withdrawn")
    return outline


def _keep(
    by: User, limb: Limb, ring: Sequence[Point], day: date, how: str, note: str, trace: Trace | None
) -> InsoleOutline:
    # One writer at a time on a limb, so that a form sent twice finds the outline of the first.
    Limb.objects.select_for_update().get(pk=limb.pk)
    points = np.asarray(ring, dtype=float)
    if len(points) > MOST_POINTS:
        points = evenly(points, MOST_POINTS)
    try:
        kept = Outline(tuple((round(float(x), 1), round(float(y), 1)) for x, y in points))
    except ReliefError as fault:
        raise Refused(_sentence(fault), field="points") from fault
    outline = [list(point) for point in kept.exterior]
    running = Prescription.objects.filter(limb=limb, stopped_on__isnull=True).first()
    for earlier in limb.insole_outlines.standing().filter(taken_on=day, prescription=running):
        if earlier.outline_mm == outline:
            return earlier
    row = InsoleOutline(
        limb=limb,
        prescription=running,
        taken_on=day,
        how=how,
        outline_mm=outline,
        length_mm=round(kept.bounds[3] - kept.bounds[1], 1),
        scale=None if trace is None else trace.scale,
        note=note.strip(),
    )
    store(row, by=by)
    _tell(by, row, "added", how=how, length_mm=row.length_mm)
    _question_plans(by, row, "was kept")
    return row


def _tell(by: User, row: InsoleOutline, verb: str, **more: Any) -> None:
    person = row.limb.person
    audit.record(by=by, site=person.site, verb=verb, target=row, person=person, **more)


def _question_plans(by: User, row: InsoleOutline, did: str) -> None:
    """A signed plan was drawn on another outline: somebody looks whether it still lies on the insole."""
    links = row.limb.relief_plans.filter(plan__state=PlanState.SIGNED, ended_on=None)
    for link in links.select_related("plan", "limb__person__site"):
        plan_flag_raise(
            by=by,
            limb_plan=link,
            cause=PlanFlagCause.INSOLE,
            subject="",
            words=f"The outline of this insole of {day_words(row.taken_on)} {did} after the plan was signed: "
            "look whether opening and edge still agree, or start a new version.",
            raised_on=timezone.localdate(),
        )


def _sentence(fault: ReliefError) -> str:
    words = str(fault)
    return f"{words[0].upper()}{words[1:]}."
