"""Records that were read from another clinic, for the managers of the clinic they belong to."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from django.utils import timezone

from clinic.models import BreakGlass, Person, Site, User, ViewEvent

__all__ = ["Notice", "glasses_of", "notices", "unseen"]

SHOWN = 50


@dataclass(frozen=True)
class Notice:
    glass: BreakGlass
    person: Person | None
    pages: int


def notices(site: Site) -> list[Notice]:
    """Newest first; three queries."""
    rows = list(
        BreakGlass.objects.filter(site=site)
        .select_related("user", "noticed_by")
        .order_by("-opened_at")[:SHOWN]
    )
    people = Person.objects.filter(site=site).in_bulk([row.person_id for row in rows])
    read: dict[int, int] = {}
    for glass_id in ViewEvent.objects.filter(glass_id__in=[row.pk for row in rows]).values_list(
        "glass_id", flat=True
    ):
        read[glass_id or 0] = read.get(glass_id or 0, 0) + 1
    return [Notice(row, people.get(row.person_id), read.get(row.pk, 0)) for row in rows]


def unseen(site_ids: Sequence[int]) -> int:
    return BreakGlass.objects.filter(site__in=site_ids, noticed_at=None).count()


def glasses_of(user: User) -> list[tuple[BreakGlass, Person | None]]:
    """What the user may read just now."""
    rows = list(BreakGlass.objects.filter(user=user, until__gt=timezone.now()).select_related("site"))
    people = Person.objects.in_bulk([row.person_id for row in rows])
    return [(row, people.get(row.person_id)) for row in rows]
