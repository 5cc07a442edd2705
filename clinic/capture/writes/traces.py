"""Keeping an outline drawn over a scaled photo."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.db import IntegrityError, transaction

from clinic.capture.writes.measurement import outline_planimetry, parts_of
from clinic.models import PhotoScale, Trace, User
from clinic.record.errors import Refused
from clinic.record.writes import audit
from clinic.record.writes.rows import store
from clinic.record.writes.withdrawing import standing_check

__all__ = ["trace_store"]


def trace_store(
    *, by: User, scale: PhotoScale, outline: Any, submission_key: UUID, blind: bool = True
) -> Trace:
    """Keep a traced outline with its planimetry, once: the same key sent again finds the first one's
    trace.
    """
    try:
        with transaction.atomic():
            return _store(by, scale, outline, submission_key, blind)
    except (IntegrityError, Refused) as fault:
        # Two requests with one key passed the look-up together; the database kept the first.
        if isinstance(fault, Refused) and fault.field != "submission_key":
            raise
        first = Trace.objects.filter(submission_key=submission_key, scale=scale).first()
        if first is None:
            raise
        return first


def _store(by: User, scale: PhotoScale, outline: Any, key: UUID, blind: bool) -> Trace:
    stored = Trace.objects.filter(submission_key=key).first()
    if stored is not None:
        if stored.scale_id != scale.pk:
            raise Refused("This form was already used for another photo; open a new one.")
        return stored
    standing_check(scale.photo)
    if not outline:
        raise Refused("Outline: nothing drawn yet; draw once round the ulcer.", field="outline")
    # To a hundredth of a millimetre, and measured after that: what is kept is what is measured.
    parts = [[[[round(x, 2), round(y, 2)] for x, y in ring] for ring in part] for part in parts_of(outline)]
    found = outline_planimetry(parts)
    trace = Trace(
        scale=scale,
        outline_mm=parts,
        area_mm2=round(found.area, 2),
        perimeter_mm=round(found.perimeter, 2),
        length_mm=round(found.length, 2),
        width_mm=round(found.width, 2),
        blind=blind,
        submission_key=key,
    )
    store(trace, by=by)
    person = scale.photo.lesion.limb.person
    audit.record(
        by=by,
        site=person.site,
        verb="traced",
        target=trace,
        person=person,
        photo=scale.photo_id,
        area_mm2=trace.area_mm2,
        blind=blind,
    )
    return trace
