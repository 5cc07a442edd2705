"""What a visit found at one ulcer, put on its row."""

from __future__ import annotations

from clinic.capture.writes.measurement import LesionFindings, measurement_fill
from clinic.models import Lesion, Measurement, User, VisitState
from clinic.record.errors import Refused
from clinic.record.writes.rows import store

__all__ = ["for_lesion", "measurement_store"]


def for_lesion(refused: Refused, lesion: Lesion) -> Refused:
    """The same refusal, tied to the field of this lesion's part of the form."""
    field = None if refused.field is None else f"lesion-{lesion.pk}-{refused.field}"
    message = refused.message if field else f"Ulcer {lesion.label}: {refused.message}"
    return Refused(message, field=field)


def _earlier_of(row: Measurement) -> Measurement | None:
    """The last measured area of this lesion before this row's visit."""
    return (
        Measurement.objects.filter(
            lesion=row.lesion_id,
            visit__state=VisitState.STANDS,
            visit__visited_on__lt=row.visit.visited_on,
            area_mm2__isnull=False,
        )
        .order_by("-visit__visited_on", "-pk")
        .first()
    )


def measurement_store(row: Measurement, one: LesionFindings, *, by: User, why: str = "") -> bool:
    """Put findings on a row and save it, unless a stored row says the same already."""
    if row.pk is None:
        row.created_by = by
    before = _values(row)
    try:
        # Only "covered and dry" continues the way the last area was measured.
        measurement_fill(row, one, _earlier_of(row) if one.covered_dry else None)
        if row.pk is not None and _values(row) == before:
            return False
        store(row, by=by, expected_version=one.version, why=why)
    except Refused as refused:
        raise for_lesion(refused, one.lesion) from refused
    return True


def _values(row: Measurement) -> dict[str, object]:
    skipped = ("id", "version", "created_at", "created_by")
    return {f.attname: getattr(row, f.attname) for f in row._meta.concrete_fields if f.name not in skipped}
