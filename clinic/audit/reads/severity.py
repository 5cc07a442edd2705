"""SINBAD of many lesions as first looked at: under 3, 3 or more, or not known, in three queries."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from datetime import date, timedelta

from django.db.models import F

from clinic.audit.reads.days import AddDays
from clinic.evidence.reads.grades import sinbad_of
from clinic.models import Event, EventKind, Lesion, LimbFinding, Measurement, VisitState
from clinic.people.reads.perfusion import ischaemia_of

__all__ = ["FIRST_LOOK_DAYS", "SEVERITIES", "severities"]

#: What was found up to so many days after a lesion was first seen is its first look (design choice: two
#: weekly visits).
FIRST_LOOK_DAYS = 14
#: In the order they are shown.
SEVERITIES = ("SINBAD under 3", "SINBAD 3 or more", "SINBAD not known")


class _First:
    """The first answer to each question about a wound, within the days of its first look."""

    def __init__(self) -> None:
        self.depth = ""
        self.area_cm2: float | None = None
        self.infection: int | None = None

    def read(self, depth: str, area_mm2: float | None, looked: bool, infection: int | None) -> None:
        self.depth = self.depth or depth
        if self.area_cm2 is None and area_mm2 is not None:
            self.area_cm2 = area_mm2 / 100
        if self.infection is None and looked:
            self.infection = infection


def severities(lesions: Sequence[Lesion]) -> dict[int, str]:
    """By lesion key, its severity when first seen; "not known" where missing findings leave it open.

    The limb of each lesion comes with its person and that person's site.
    """
    limbs = {lesion.limb_id for lesion in lesions}
    found: dict[int, list[LimbFinding]] = defaultdict(list)
    for finding in (
        LimbFinding.objects.filter(limb__in=limbs).select_related("created_by").order_by("-found_on", "-pk")
    ):
        found[finding.limb_id].append(finding)
    operations: dict[int, list[date]] = defaultdict(list)
    done = Event.objects.filter(limb__in=limbs, kind=EventKind.REVASCULARISATION)
    for limb_id, on in done.values_list("limb_id", "happened_on"):
        operations[limb_id].append(on)
    until = {lesion.pk: lesion.first_seen_on + timedelta(days=FIRST_LOOK_DAYS) for lesion in lesions}
    first = _first_looks(lesions)
    return {
        lesion.pk: _severity(
            lesion, until[lesion.pk], found[lesion.limb_id], operations[lesion.limb_id], first[lesion.pk]
        )
        for lesion in lesions
    }


def _first_looks(lesions: Sequence[Lesion]) -> dict[int, _First]:
    first = {lesion.pk: _First() for lesion in lesions}
    rows = Measurement.objects.filter(
        lesion__in=list(first),
        visit__state=VisitState.STANDS,
        visit__visited_on__lte=AddDays(F("lesion__first_seen_on"), FIRST_LOOK_DAYS),
    ).order_by("visit__visited_on", "pk")
    for pk, depth, area_mm2, looked, infection in rows.values_list(
        "lesion_id", "depth", "area_mm2", "infection_looked", "infection_grade"
    ):
        first[pk].read(depth, area_mm2, looked, infection)
    return first


def _severity(
    lesion: Lesion, until: date, found: Sequence[LimbFinding], operations: Sequence[date], first: _First
) -> str:
    then = [finding for finding in found if finding.found_on <= until]
    score = sinbad_of(
        lesion,
        pulses=[
            value
            for name in ("dorsalis_pedis", "posterior_tibial")
            if (value := next((getattr(f, name) for f in then if getattr(f, name)), ""))
        ],
        ischaemia=ischaemia_of(then, operations, lesion.limb.person.site, until),
        not_felt=next(
            (
                (f.monofilament_tested or 0) - f.monofilament_felt
                for f in then
                if f.monofilament_felt is not None
            ),
            None,
        ),
        infection=first.infection,
        area_cm2=first.area_cm2,
        depth=first.depth,
    )
    if score.severe is None:
        return SEVERITIES[2]
    return SEVERITIES[1] if score.severe else SEVERITIES[0]
