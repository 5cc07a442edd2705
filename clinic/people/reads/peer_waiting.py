"""How many choices of peer rounds wait for one reader, and which lack a second possible reader."""

from __future__ import annotations

from django.db.models import Count, QuerySet

from clinic.models import PeerCase, Role, Site, User

__all__ = ["READERS", "cases_short", "open_to", "peer_waiting"]

#: Who read each choice.
READERS = 2


def open_to(cases: QuerySet[PeerCase], user: User) -> QuerySet[PeerCase]:
    """The choices a user still has to read: not the own ones, not twice, not as a third."""
    mine = PeerCase.objects.filter(readings__reader=user).values("pk")
    return (
        cases.exclude(pk__in=mine)
        .exclude(prescription__signed_by=user)
        .annotate(read=Count("readings"))
        .filter(read__lt=READERS)
        .order_by("position")
    )


def peer_waiting(site: Site, user: User) -> int:
    """Choices of every round of a site that this user has to read (one query)."""
    return open_to(PeerCase.objects.filter(round__site=site), user).count()


def cases_short(cases: QuerySet[PeerCase], site: Site) -> int:
    """Choices that cannot be read by two: too few podiatrists here who did not sign them (two queries)."""
    readers = set(
        User.objects.filter(sites=site, role=Role.PODIATRIST, is_active=True).values_list("pk", flat=True)
    )
    short = 0
    for case in cases.select_related("prescription").prefetch_related("readings"):
        possible = (readers - {case.prescription.signed_by_id}) | {
            one.reader_id for one in case.readings.all()
        }
        short += len(possible) < READERS
    return short
