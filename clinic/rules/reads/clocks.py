"""The rules of a site as the clocks read them."""

from __future__ import annotations

from datetime import date, datetime

from django.utils import timezone

from clinic.guidelines.clocks import Hours, SealRule, day_at, is_open
from clinic.models import Site

__all__ = ["hours_of", "local_day", "seal_rule", "telephone_now"]


def hours_of(site: Site) -> Hours:
    """The site's hours, weekdays and days off, in the clinic's own time zone."""
    return Hours(
        start=site.hours_start,
        end=site.hours_end,
        zone=timezone.get_current_timezone(),
        closed_weekdays=frozenset(site.closed_weekdays),
        holidays=frozenset(date.fromisoformat(day) for day in site.holidays),
    )


def seal_rule(site: Site) -> SealRule:
    """For how long a device stays sealed here."""
    return SealRule(site.sealed_first_days, site.sealed_days, site.first_change_hours)


def telephone_now(site: Site, now: datetime, urgency: str) -> tuple[str, bool]:
    """The number of an urgency for this hour, and whether the site is open."""
    in_hours = is_open(now, hours_of(site))
    return site.telephone(urgency, in_hours), in_hours


def local_day(at: datetime) -> date:
    """The clinic's calendar day of a moment."""
    return day_at(at, timezone.get_current_timezone())
