"""Traces of the same photo, as pairs whose differences are this clinic's own measuring error."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from django.db.models import QuerySet

from clinic.healing.repeatability import Agreement, Pair, Repeat, agreement, pairs_between, pairs_within
from clinic.models import Lesion, PhotoScale, PhotoSubject, Trace, User

__all__ = ["Repeatability", "repeatability_of", "site_error", "trace_errors"]

MOST_PAIRS_SHOWN = 60


@dataclass(frozen=True)
class Repeatability:
    """Within and between observers, and what could be traced again next."""

    within: Agreement | None
    within_pairs: tuple[Pair, ...]
    between: Agreement | None
    between_pairs: tuple[Pair, ...]
    waiting: tuple[PhotoScale, ...]


def _repeats(site_ids: list[int]) -> list[Repeat]:
    rows = Trace.objects.filter(
        scale__photo__lesion__limb__person__site__in=site_ids,
        scale__photo__withdrawn_on=None,
        scale__photo__subject=PhotoSubject.WOUND,
        blind=True,
        area_mm2__gt=0,
    ).order_by("created_at", "pk")
    return [
        Repeat(scale, who, area)
        for scale, who, area in rows.values_list("scale_id", "created_by_id", "area_mm2")
    ]


def repeatability_of(user: User) -> Repeatability:
    """Repeats at the user's sites (two queries)."""
    repeats = _repeats(list(user.site_ids))
    within, between = pairs_within(repeats), pairs_between(repeats)
    mine = [one.subject for one in repeats if one.observer == user.pk]
    done = {subject for subject in mine if mine.count(subject) >= 2}
    waiting = (
        PhotoScale.objects.visible_to(user)
        .filter(traces__blind=True, photo__subject=PhotoSubject.WOUND, photo__withdrawn_on=None)
        .exclude(pk__in=done)
        .select_related("photo__lesion__limb__person")
        .distinct()
        .order_by("-created_at")[:12]
    )
    return Repeatability(
        agreement(within),
        tuple(within[:MOST_PAIRS_SHOWN]),
        agreement(between),
        tuple(between[:MOST_PAIRS_SHOWN]),
        tuple(waiting),
    )


def _blind_traces(lesions: Any) -> QuerySet[Any, Any]:
    """Of the clinics of these lesions, in the order drawn."""
    sites = Lesion.objects.filter(pk__in=lesions).values("limb__person__site")
    return (
        Trace.objects.filter(
            scale__photo__lesion__limb__person__site__in=sites,
            scale__photo__withdrawn_on=None,
            scale__photo__subject=PhotoSubject.WOUND,
            blind=True,
            area_mm2__gt=0,
        )
        .order_by("created_at", "pk")
        .values_list("scale__photo__lesion__limb__person__site_id", "scale_id", "created_by_id", "area_mm2")
    )


def trace_errors(lesions: Iterable[Lesion]) -> dict[int, float]:
    """The clinic's own error of one traced area as a share, for lesions of clinics with pairs enough.

    The larger of the coefficients within and between observers: a wound is rarely traced by the same person
    every week. One query where no clinic has traced twice, two otherwise.
    """
    keys = [lesion.pk for lesion in lesions]
    by_site: dict[int, list[Repeat]] = {}
    for site, scale, who, area in _blind_traces(keys):
        by_site.setdefault(site, []).append(Repeat(scale, who, area))
    known = {site: error for site, repeats in by_site.items() if (error := _error_of(repeats)) is not None}
    if not known:
        return {}
    places = Lesion.objects.filter(pk__in=keys).values_list("pk", "limb__person__site_id")
    return {pk: known[site] for pk, site in places if site in known}


def site_error(site_id: int) -> float | None:
    """The same error of one clinic; None where the design choice stands (one query)."""
    return _error_of(_repeats([site_id]))


def _error_of(repeats: list[Repeat]) -> float | None:
    kinds = (agreement(pairs_within(repeats)), agreement(pairs_between(repeats)))
    shares = [found.variation / 100.0 for found in kinds if found is not None and found.is_enough]
    return min(max(shares), 1.0) if shares else None
