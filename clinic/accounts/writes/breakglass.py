"""Reading across sites in an emergency: a reason first, an hour at most, and the other clinic is told."""

from __future__ import annotations

from datetime import date, timedelta

from django.db import transaction
from django.utils import timezone

from clinic.models import AuditEvent, BreakGlass, Person, Site, User
from clinic.record.errors import Refused
from clinic.record.writes import audit

__all__ = ["LASTS", "glass_break", "glass_notice"]

LASTS = timedelta(minutes=60)
SHORTEST_REASON = 15
MOST_A_DAY = 10
MOST_VAIN_A_DAY = 5  # design choice: as many as wrong passwords


VAIN = "looked in vain for a record elsewhere"


def glass_break(*, by: User, site: Site, record_number: str, birth_date: date, reason: str) -> BreakGlass:
    """Open one person's record of another site for reading. Number and birth date must both be right.

    A search in vain is written to the chains of the searcher's own clinics: into another's chain nobody
    writes by guessing.
    """
    reason = reason.strip()
    if len(reason) < SHORTEST_REASON:
        raise Refused(
            f"Reason: {len(reason)} characters; at least {SHORTEST_REASON} are needed.", field="reason"
        )
    with transaction.atomic():
        # One request of a user at a time: counted together they would all find room.
        User.objects.select_for_update().get(pk=by.pk)
        _limits(by)
        found = (
            Person.objects.select_related("merged_into")
            .filter(site=site, record_number=record_number.strip(), birth_date=birth_date)
            .exclude(site__in=by.site_ids)
            .first()
        )
        if found is not None:
            return _opened(by, site, found.merged_into or found, reason)
        for own in by.sites.order_by("pk"):
            audit.record(by=by, site=own, verb=VAIN, target=by, clinic=site.short_name)
    raise Refused("No patient of that clinic has this record number and birth date.", field="record_number")


def _limits(by: User) -> None:
    since = timezone.now() - timedelta(days=1)
    if BreakGlass.objects.filter(user=by, opened_at__gt=since).count() >= MOST_A_DAY:
        raise Refused(
            f"{MOST_A_DAY} records were opened this way in a day; a manager of that clinic can help."
        )
    tries = AuditEvent.objects.filter(target_kind="user", target_id=str(by.pk), verb=VAIN, at__gt=since)
    # One row a clinic of the searcher for each try.
    if tries.count() >= MOST_VAIN_A_DAY * max(1, len(by.site_ids)):
        raise Refused(
            f"{MOST_VAIN_A_DAY} searches in a day found nobody; telephone that clinic, or try tomorrow."
        )


def _opened(by: User, site: Site, found: Person, reason: str) -> BreakGlass:
    """A number of a merged record opens the one it went into."""
    now = timezone.now()
    glass = BreakGlass.objects.create(
        user=by, person_id=found.pk, site=site, reason=reason, opened_at=now, until=now + LASTS
    )
    audit.record(
        by=by,
        site=site,
        verb="broke the glass",
        target=found,
        person=found,
        also=[glass],
        reason=reason,
        until=glass.until.isoformat(timespec="seconds"),
    )
    return glass


@transaction.atomic
def glass_notice(*, by: User, glass: BreakGlass) -> BreakGlass:
    """A manager of the site has seen the notice."""
    row = BreakGlass.objects.select_for_update().get(pk=glass.pk)
    if row.noticed_at is None:
        row.noticed_at, row.noticed_by = timezone.now(), by
        row.save(update_fields=["noticed_at", "noticed_by"])
        audit.record(by=by, site=row.site, verb="noticed the reading of", target=row, reader=str(row.user))
    return row
