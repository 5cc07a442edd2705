"""A clinic's own figures of its forecasts: the row in force."""

from __future__ import annotations

from collections.abc import Iterable

from django.db.models import OuterRef, Subquery

from clinic.healing.own import Own
from clinic.healing.recalibration import VERSION
from clinic.healing.shown import own_from
from clinic.models import Recalibration

__all__ = ["own_figures"]


def own_figures(site_ids: Iterable[int]) -> dict[int, Own]:
    """Of each clinic the newest row made by the method of today; one query.

    Rows are made by `manage.py recalibrate` and never changed: what an older one said stays with what was
    shown then.
    """
    wanted = set(site_ids)
    if not wanted:
        return {}
    newest = Recalibration.objects.filter(site=OuterRef("site"), method=VERSION).order_by("-made_on")
    rows = Recalibration.objects.filter(
        site__in=wanted, method=VERSION, made_on=Subquery(newest.values("made_on")[:1])
    )
    return {row.site_id: own_from(row.made_on, row.method, row.figures) for row in rows}
