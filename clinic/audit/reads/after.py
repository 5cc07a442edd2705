"""What came after a confirmed healing: a new ulcer, death, or nothing up to the last look."""

from __future__ import annotations

from datetime import date
from typing import Any

from django.db.models import Case, CharField, F, IntegerField, OuterRef, Q, QuerySet, Subquery, Value, When
from django.db.models.functions import Coalesce, Greatest

from clinic.audit.reads.cases import STANDS, AuditFilter, Base
from clinic.audit.reads.days import Days
from clinic.models import TRUE_LESIONS, Lesion, LesionState, PersonState, Visit, WoundKind

__all__ = ["AFTER_BASES"]


def _healed(wanted: AuditFilter, today: date) -> QuerySet[Any]:
    """Lesions confirmed healed in the period, and what came first afterwards: a new ulcer, death, or the
    last look.
    """
    later = Lesion.objects.filter(
        TRUE_LESIONS,
        limb__person=OuterRef("limb__person"),
        wound_kind=WoundKind.ULCER,
        first_seen_on__gt=OuterRef("confirmed_on"),
    )
    last = Visit.objects.filter(
        STANDS, person=OuterRef("limb__person"), visited_on__gte=OuterRef("confirmed_on")
    )
    again = Subquery(later.order_by("first_seen_on").values("first_seen_on")[:1])
    seen = Subquery(last.order_by("-visited_on").values("visited_on")[:1])
    gone = ~Q(limb__person__state=PersonState.IN_CARE)
    died = Q(limb__person__state=PersonState.DIED, limb__person__state_on__gte=F("confirmed_on"))
    left = Case(When(gone, then=F("limb__person__state_on")), default=None)

    def since(day: Any) -> Any:
        return Days(day, F("confirmed_on"))

    # Days and what ended them in one number, so that each look-up runs once a row: four times the days, and
    # the way.
    way = Case(When(died, then=Value(2)), default=Value(0), output_field=IntegerField())
    return Lesion.objects.filter(
        wanted.at("limb__person__site"),
        state=LesionState.HEALED,
        confirmed_on__gte=wanted.since,
        confirmed_on__lte=wanted.until,
    ).annotate(
        again_on=again,
        seen_on=seen,
        after=Case(
            When(again_on__isnull=False, then=Value("recurred")),
            When(died, then=Value("died")),
            default=Value("free"),
            output_field=CharField(),
        ),
        days=Greatest(Value(0), since(Coalesce("again_on", left, "seen_on", "confirmed_on"))),
        trail=Coalesce(since(again) * 4 + 1, since(left) * 4 + way, since(seen) * 4, Value(0)),
    )


def _followed(row: dict[str, Any]) -> dict[str, Any]:
    days, way = divmod(row["trail"], 4)
    return {**row, "days": max(0, days), "after": ("free", "recurred", "died")[way]}


AFTER_BASES: dict[str, Base] = {
    "healed": Base(_healed, ("trail",), "confirmed_on", ("limb__person", "episode"), "lesion", _followed),
}
