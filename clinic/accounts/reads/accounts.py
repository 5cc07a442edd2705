"""Accounts of one's sites, one's own sign-ins, and what was changed about an account."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.contrib.sessions.models import Session
from django.db.models import Exists, OuterRef, Prefetch, QuerySet
from django.utils import timezone

from clinic.models import AccountLink, AuditEvent, Site, User

__all__ = ["SignInLine", "accounts_of", "own_sign_ins", "recovery_codes_left", "settings_history"]

HISTORY_SHOWN = 50


@dataclass(frozen=True)
class SignInLine:
    pk: int
    at: datetime
    browser: str
    this: bool


def accounts_of(user: User) -> QuerySet[User]:
    """Accounts that share a site with the user, each with those of its sites the user may know of."""
    mine = Site.objects.filter(pk__in=user.site_ids).order_by("name")
    live_link = AccountLink.objects.filter(user=OuterRef("pk"), used_at=None, expires_at__gt=timezone.now())
    shared = User.sites.through.objects.filter(user_id=OuterRef("pk"), site_id__in=user.site_ids)
    return (
        User.objects.filter(Exists(shared))
        .annotate(link_waits=Exists(live_link))
        .prefetch_related(Prefetch("sites", queryset=mine, to_attr="shown_sites"))
        .order_by("-is_active", "last_name", "first_name", "username")
    )


def own_sign_ins(user: User, session_key: str | None) -> list[SignInLine]:
    """Browsers signed in now, newest first."""
    live = Session.objects.filter(session_key=OuterRef("session_key"), expire_date__gt=timezone.now())
    rows = user.sign_ins.filter(Exists(live))  # type: ignore[attr-defined]
    return [SignInLine(row.pk, row.at, row.browser, row.session_key == session_key) for row in rows]


def recovery_codes_left(user: Any) -> int:
    device = user.staticdevice_set.first()
    return device.token_set.count() if device else 0


def settings_history(site: Site) -> list[AuditEvent]:
    """What was changed about accounts, sign-in rules, house rules, reasons and foams of a site, newest
    first.
    """
    return list(
        AuditEvent.objects.filter(
            site_id=site.pk, target_kind__in=["user", "site", "sitereason", "sitefoam"], person_id=None
        )
        .exclude(verb__in=["exported", "anchored"])
        .order_by("-sequence")[:HISTORY_SHOWN]
    )
