"""One case on one sheet for a team meeting or a complaint: what was known, chosen, done, and what came of
it.
"""

from __future__ import annotations

from dataclasses import dataclass

from clinic.models import Attendance, DecisionLine, Lesion, Measurement, Prescription, Visit, VisitState

__all__ = ["CaseSheet", "case_sheet"]


@dataclass(frozen=True)
class LesionColumn:
    lesion: Lesion
    rows: tuple[Measurement, ...]


@dataclass(frozen=True)
class CaseSheet:
    prescription: Prescription
    facts: tuple[tuple[str, tuple[dict[str, str], ...]], ...]
    offered: tuple[dict[str, str], ...]
    lesions: tuple[LesionColumn, ...]
    devices: tuple[Prescription, ...]
    decisions: tuple[DecisionLine, ...]
    missed: int
    came: int


def case_sheet(prescription: Prescription) -> CaseSheet:
    """Everything on the sheet; six queries."""
    lesions = list(prescription.lesions.select_related("limb"))
    rows: dict[int, list[Measurement]] = {lesion.pk: [] for lesion in lesions}
    found = Measurement.objects.filter(lesion__in=lesions, visit__state=VisitState.STANDS).select_related(
        "visit"
    )
    for row in found.order_by("visit__visited_on", "pk"):
        rows[row.lesion_id].append(row)
    devices = prescription.limb.prescriptions.select_related("signed_by").defer(
        "facts", "advice", "content", "forecast_shown"
    )
    visits = list(
        Visit.objects.filter(
            person=prescription.limb.person_id,
            state=VisitState.STANDS,
            visited_on__gte=prescription.prescribed_on,
        ).values_list("attendance", flat=True)
    )
    content = prescription.content or {}
    return CaseSheet(
        prescription=prescription,
        facts=tuple(
            (str(copy.get("where", "")), tuple(copy.get("rows", ())))
            for copy in prescription.facts.values()
            if isinstance(copy, dict)
        ),
        offered=tuple(content.get("offers", ())),
        lesions=tuple(LesionColumn(lesion, tuple(rows[lesion.pk])) for lesion in lesions),
        devices=tuple(devices.order_by("prescribed_on", "pk")),
        decisions=tuple(prescription.limb.decisions.order_by("decided_on", "pk")),
        missed=sum(1 for a in visits if a != Attendance.CAME),
        came=sum(1 for a in visits if a == Attendance.CAME),
    )
