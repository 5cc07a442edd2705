"""What the visit page asks about typed values before it saves them."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace
from datetime import date

from clinic.capture.writes.measurement import LesionFindings, WoundArea, wound_area
from clinic.guidelines.plausible import area_jumps
from clinic.healing.series import LONGEST_GAP
from clinic.models import Measurement, Site, Visit
from clinic.record.questions import Question, slip_question, weight_question
from clinic.visits.reads import LesionSheet, VisitSheet, area_words
from clinic.visits.writes.visits import PersonFindings

__all__ = ["correction_questions", "visit_questions"]


def visit_questions(
    sheet: VisitSheet, found: PersonFindings, lesions: Iterable[LesionFindings]
) -> list[Question]:
    """Values that are a slip of ten, or far from the last comparable ones; in the order of the page."""
    sheets = {one.lesion.pk: one for one in sheet.lesions}
    site = sheet.person.site
    questions: list[Question] = []
    for one in lesions:
        questions += _of_lesion(sheets[one.lesion.pk], one, found.visited_on, site)
    if sheet.weight is not None:
        questions += weight_question(
            "weight_kg",
            sheet.weight.kg,
            found.weight_kg,
            sheet.weight.measured_on,
            site.question_weight_percent,
        )
    return questions


def correction_questions(
    visit: Visit, sheet: VisitSheet, found: PersonFindings, lesions: Iterable[LesionFindings]
) -> list[Question]:
    """The same of a visit that is corrected, against what came before it; what was confirmed as typed when it
    was saved is not asked again.
    """
    earlier = visit.person.weights.newest_first().filter(measured_on__lte=visit.visited_on)
    others = earlier.exclude(visit=visit)
    questions = visit_questions(replace(sheet, weight=others.first()), found, lesions)
    return [one for one in questions if one.words not in visit.confirmed_as_typed]


def _of_lesion(sheet: LesionSheet, found: LesionFindings, day: date, site: Site) -> Iterator[Question]:
    head = f"Ulcer {sheet.lesion.label}, "
    last = sheet.last_area
    if last is not None and not last.covered_dry:
        on = last.visit.visited_on
        for name, label in (("length_mm", "length"), ("width_mm", "width")):
            typed, before = getattr(found, name), getattr(last, name)
            yield from slip_question(f"{sheet.prefix}-{name}", head + label, "mm", before, typed, on)
    if sheet.last is not None:
        on, before = sheet.last.visit.visited_on, sheet.last.redness_mm
        yield from slip_question(
            f"{sheet.prefix}-redness_mm", f"{head}redness", "mm", before, found.redness_mm, on
        )
    area = wound_area(found, last)
    before_area = sheet.comparable(area.method, area.debridement)
    if before_area is not None:
        yield from _of_area(sheet, before_area, area, day, site)


def _of_area(
    sheet: LesionSheet, last: Measurement, area: WoundArea, day: date, site: Site
) -> Iterator[Question]:
    """After a gap that a forecast would not bridge, another area is no surprise."""
    old = (day - last.visit.visited_on).days > LONGEST_GAP
    if area.area_mm2 is None or last.area_mm2 is None or old:
        return
    ratio, small = float(site.question_area_ratio), float(site.question_small_area_ratio)
    if not area_jumps(last.area_mm2, area.area_mm2, ratio=ratio, small_ratio=small):
        return
    times = max(area.area_mm2, last.area_mm2) / min(area.area_mm2, last.area_mm2)
    how = "times the last" if area.area_mm2 > last.area_mm2 else "times smaller than the last"
    field = "outline" if area.outline_mm else "length_mm"
    yield Question(
        f"{sheet.prefix}-{field}",
        f"{area.area_mm2:.2f} mm²",
        f"Ulcer {sheet.lesion.label}, area: {area.area_mm2 / 100:.2f} cm² is {times:.1f} {how}, "
        f"{area_words(last, dated=True)}.",
    )
