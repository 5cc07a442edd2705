"""Both versions of a visit, side by side, when another page stored it first. Nothing is overwritten."""

from __future__ import annotations

from collections.abc import Iterable

from clinic.models import Measurement, Visit
from clinic.record.forms.conflict import Difference, differences
from clinic.visits.forms.measurement import MeasurementForm
from clinic.visits.forms.visits import VisitForm
from clinic.visits.reads import area_words
from clinic.visits.writes.visits import COLUMNS

__all__ = ["visit_differences"]


def visit_differences(
    form: VisitForm, parts: Iterable[MeasurementForm], visit: Visit, rows: Iterable[Measurement]
) -> list[Difference]:
    """What was typed and is not what is stored; the forms then carry the versions that are in the record
    now.
    """
    stored = {column: getattr(visit, column) for column in COLUMNS if column in form.fields}
    found = differences(form, stored, version=visit.version)
    by_lesion = {row.lesion_id: row for row in rows}
    for part in parts:
        row = by_lesion.get(part.sheet.lesion.pk)
        if row is None or not hasattr(part, "cleaned_data"):
            continue
        head = f"Ulcer {part.sheet.lesion.label}: "
        typed = _typed_area(part)
        if typed != area_words(row):
            found.append(Difference(f"{head}area", area_words(row), typed))
        found += [
            Difference(f"{head}{one.label.lower()}", one.in_record, one.typed)
            for one in differences(part, MeasurementForm.seen(row), version=row.version)
        ]
    return found


def _typed_area(part: MeasurementForm) -> str:
    """The area that was typed, in the words of the record."""
    if part.area is None:
        return "not given"
    row = Measurement(
        method=part.area.method,
        area_mm2=part.area.area_mm2,
        debridement=part.area.debridement,
        covered_dry=part.cleaned_data.get("covered_dry", False),
        not_measured_because=part.cleaned_data.get("not_measured_because", ""),
    )
    return area_words(row)
