"""Wound bed, edge and dressing told as unchanged: copied from the last visit, with the day they were
described.
"""

from __future__ import annotations

from clinic.capture.reads.repeat import site_error
from clinic.capture.reads.unchanged import DESCRIBED, MOST_RUNNING
from clinic.healing.progress import change_between
from clinic.healing.series import Method
from clinic.models import AreaMethod, Depth, Measurement, VisitState
from clinic.record.dates import day_words
from clinic.record.errors import Refused

__all__ = ["unchanged_fill"]


def unchanged_fill(row: Measurement) -> None:
    """Take over wound bed, edge and dressing of the last visit, on a row that holds everything else."""
    if any(getattr(row, name) for name in DESCRIBED):
        raise Refused(
            "Unchanged is ticked and one of the three is also described; keep one.", field="unchanged"
        )
    if row.covered_dry:
        raise Refused("Unchanged: a covered ulcer has no wound bed to compare.", field="unchanged")
    if not row.infection_looked:
        raise Refused(
            "Unchanged is said after looking: answer the signs of infection first.", field="unchanged"
        )
    before = list(
        Measurement.objects.filter(
            lesion=row.lesion_id,
            visit__state=VisitState.STANDS,
            visit__visited_on__lt=row.visit.visited_on,
        )
        .select_related("visit")
        .order_by("-visit__visited_on", "-pk")[:MOST_RUNNING]
    )
    last = before[0] if before else None
    if last is None or not any(getattr(last, name) for name in DESCRIBED):
        raise Refused("Unchanged: nothing was described at the last visit.", field="unchanged")
    if len(before) == MOST_RUNNING and all(one.unchanged_since for one in before):
        raise Refused(
            f"Unchanged: told {MOST_RUNNING} times running; describe wound bed, edge and dressing.",
            field="unchanged",
        )
    if worse := _worse(row, last):
        raise Refused(f"Unchanged: {worse}; describe wound bed, edge and dressing.", field="unchanged")
    for name in DESCRIBED:
        setattr(row, name, getattr(last, name))
    row.unchanged_since = last.unchanged_since or last.visit.visited_on


def _worse(row: Measurement, last: Measurement) -> str:
    """What has become worse since the last visit, in words; empty when nothing is known to have."""
    since = day_words(last.visit.visited_on)
    if row.infection_grade and last.infection_grade and row.infection_grade > last.infection_grade:
        return f"the infection grade rose from {last.infection_grade} to {row.infection_grade} since {since}"
    order = list(Depth.values)
    if row.depth and last.depth and order.index(row.depth) > order.index(last.depth):
        return f"it reaches deeper than on {since}"
    if not row.area_mm2 or not last.area_mm2 or row.method != last.method:
        return ""
    if row.debridement != last.debridement:
        return ""
    traced = row.method == AreaMethod.TRACED
    share = site_error(row.visit.person.site_id) if traced else None
    how = Method.TRACED if traced else Method.ELLIPSE
    change = change_between(last.area_mm2, row.area_mm2, how, share=share)
    return f"larger than on {since}" if change.real and change.difference > 0 else ""
