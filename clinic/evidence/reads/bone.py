"""What podiatrists judged of the bone under each ulcer, and when a probe felt it."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from typing import Any

from django.db.models import Exists, OuterRef, QuerySet, Subquery

from clinic.guidelines.standing_findings import InfectionFinding
from clinic.models import BoneJudgement, Lesion, Measurement, Role, VisitState

__all__ = ["bone_felt_unjudged", "bone_judgements", "newest_judgement", "probed_since"]


def bone_judgements(lesions: Iterable[Lesion | int], day: date) -> dict[int, tuple[InfectionFinding, ...]]:
    """By lesion, its bone judgements up to a day as findings of infection, oldest first (one query).

    A judgement entered in error tells nothing. Each finding holds the day, the bone, whether a podiatrist
    signed the end of treatment, and by whom; all else in it is not looked at.
    """
    found: dict[int, list[InfectionFinding]] = {}
    for row in _rows(lesions, day).select_related("created_by"):
        found.setdefault(row.lesion_id, []).append(
            InfectionFinding(
                on=row.judged_on,
                bone=row.state,
                bone_treated=True if row.treated else None,
                by="podiatrist" if row.created_by.role == Role.PODIATRIST else "staff",
            )
        )
    return {lesion: tuple(findings) for lesion, findings in found.items()}


def newest_judgement(lesion: Lesion, day: date) -> BoneJudgement | None:
    """The last judgement up to a day that is not in error."""
    return _rows([lesion], day).last()


def _rows(lesions: Iterable[Lesion | int], day: date) -> QuerySet[Any, Any]:
    keys = [one if isinstance(one, int) else one.pk for one in lesions]
    rows = BoneJudgement.objects.filter(lesion__in=keys, judged_on__lte=day, in_error_because="")
    return rows.order_by("judged_on", "pk")


def probed_since(lesions: Iterable[Lesion | int], day: date) -> dict[int, date]:
    """By lesion, the last visit at which bone was felt with the probe (one query)."""
    keys = [one if isinstance(one, int) else one.pk for one in lesions]
    rows = Measurement.objects.filter(
        lesion__in=keys,
        probe_to_bone=True,
        visit__state=VisitState.STANDS,
        visit__visited_on__lte=day,
    ).order_by("visit__visited_on")
    return dict(rows.values_list("lesion_id", "visit__visited_on"))


def bone_felt_unjudged(day: date) -> Subquery:
    """For a query of lesions: the last visit that felt bone, where no judgement looked at it since."""
    judged = BoneJudgement.objects.filter(
        lesion=OuterRef("lesion"),
        judged_on__gte=OuterRef("visit__visited_on"),
        judged_on__lte=day,
        in_error_because="",
    )
    felt = Measurement.objects.filter(
        ~Exists(judged),
        lesion=OuterRef("pk"),
        probe_to_bone=True,
        visit__state=VisitState.STANDS,
        visit__visited_on__lte=day,
    )
    return Subquery(felt.order_by("-visit__visited_on").values("visit__visited_on")[:1])
