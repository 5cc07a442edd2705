"""Reading across sites in an emergency: a reason first, an hour at most, and the other clinic is told."""

from __future__ import annotations

from datetime import date, timedelta

from django.db import transaction
from django.utils import timezone

from clinic.models import BreakGlass, Person, Site, User
from clinic.record.errors import Refused
from clinic.record.writes import audit

__all__ = ["LASTS", "glass_break", "glass_notice"]

LASTS = timedelta(minutes=60)
SHORTEST_REASON = 15
MOST_A_DAY = 10


def glass_break(*, by: User, site: Site, record_number: str, birth_date: date, reason: str) -> BreakGlass:
    """Open one person's record of another site for reading. Number and birth date must both be right."""
    reason = reason.strip()
    if len(reason) < SHORTEST_REASON:
        raise Refused(
            f"Reason: {len(reason)} characters; at least {SHORTEST_REASON} are needed.", field="reason"
        )
    now = timezone.now()
    if BreakGlass.objects.filter(user=by, opened_at__gt=now - timedelta(days=1)).count() >= MOST_A_DAY:
        raise Refused(
            f"{MOST_A_DAY} records were opened this way in a day; a manager of that clinic can help."
        )
    found = (
        Person.objects.filter(site=site, record_number=record_number.strip(), birth_date=birth_date)
        .exclude(site__in=by.site_ids)
        .first()
    )
    if found is None:
        # Guessing numbers shall not go unseen: the search itself is told to that clinic, and stays told.
        with transaction.atomic():
            audit.record(by=by, site=site, verb="looked in vain for a record of", target=site)
        raise Refused(
            "No person of that clinic has this record number and birth date.", field="record_number"
        )
    found = found.merged_into or found  # a number of a merged record opens the one it went into
    with transaction.atomic():
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
