"""Reading watch points: what the next visit asks for, which plans are flagged, and what predictions came
to.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass

from django.db.models import Q, QuerySet

from clinic.healing.proportion import wilson
from clinic.models import (
    HITS,
    Attendance,
    Found,
    Looked,
    Person,
    PlanFlag,
    Site,
    Visit,
    VisitState,
    WatchFinding,
    WatchKind,
    WatchPoint,
)
from offload.core.plan.watch import spot_words
from offload.models import PlanState

__all__ = ["KindCount", "WatchCount", "flags_standing", "points_of", "watch_count"]


def points_of(person: Person) -> list[WatchPoint]:
    """Watch points of the person's signed plans that serve an open lesion, in the order they were written."""
    return list(
        WatchPoint.objects.filter(
            Q(limb_plan__lesions__state="open") | Q(limb_plan__lesions__state="to_confirm"),
            limb_plan__limb__person=person,
            limb_plan__plan__state=PlanState.SIGNED,
            limb_plan__ended_on=None,
        )
        .select_related("limb_plan__limb")
        .distinct()
        .order_by("pk")
    )


def flags_standing(**of: object) -> QuerySet[PlanFlag]:
    """Question marks over plans in force that nobody has answered."""
    return (
        PlanFlag.objects.standing()
        .filter(answer="", limb_plan__plan__state=PlanState.SIGNED, limb_plan__ended_on=None, **of)
        .select_related("limb_plan__limb", "limb_plan__plan")
        .defer("limb_plan__plan__result", "limb_plan__plan__spec")
        .order_by("raised_on", "pk")
    )


@dataclass(frozen=True)
class KindCount:
    """Predicted places of one kind: how many, how many were looked at, at how many something was found."""

    kind: str
    named: int
    looked: int
    hit: int
    low: float | None
    high: float | None
    red: int
    blister: int
    broken: int

    @property
    def low_percent(self) -> int:
        return round(100 * (self.low or 0))

    @property
    def high_percent(self) -> int:
        return round(100 * (self.high or 0))


@dataclass(frozen=True)
class WatchCount:
    """Predicted against found at one site."""

    kinds: tuple[KindCount, ...]
    plans: int
    visits: int
    unforeseen: int

    @property
    def looked(self) -> int:
        return sum(kind.looked for kind in self.kinds)


def watch_count(site: Site) -> WatchCount:
    """Places named by signed plans against what visits found there (three queries)."""
    points = list(
        WatchPoint.objects.filter(limb_plan__limb__person__site=site).values_list("pk", "kind", "limb_plan")
    )
    found: dict[int, set[str]] = defaultdict(set)
    visits: dict[int, set[str]] = defaultdict(set)
    rows = WatchFinding.objects.filter(
        point__limb_plan__limb__person__site=site, visit__state=VisitState.STANDS
    ).values_list("point", "visit", "found")
    for point, visit, what in rows:
        found[point].add(what)
        visits[visit].add(what)
    troubled = Visit.objects.filter(
        pk__in=visits, skin_under_device=Looked.PROBLEM, attendance=Attendance.CAME
    ).values_list("pk", flat=True)
    return WatchCount(
        kinds=tuple(
            _count(label, [pk for pk, kind, _ in points if kind == value], found)
            for value, label in {**dict(WatchKind.choices), WatchKind.SPOT.value: spot_words()}.items()
        ),
        plans=len({plan for _, _, plan in points}),
        visits=len(visits),
        unforeseen=sum(1 for pk in troubled if not visits[pk] & set(HITS)),
    )


def _count(label: str, points: Iterable[int], found: dict[int, set[str]]) -> KindCount:
    named = list(points)
    looked = [found[pk] for pk in named if found.get(pk)]
    hits = [one for one in looked if one & set(HITS)]
    share = wilson(len(hits), len(looked)) if looked else None
    return KindCount(
        label,
        len(named),
        len(looked),
        len(hits),
        share.low if share else None,
        share.high if share else None,
        *(sum(1 for one in looked if what in one) for what in (Found.RED, Found.BLISTER, Found.BROKEN)),
    )
