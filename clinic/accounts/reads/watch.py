"""What a manager watches: sign-ins that failed, were locked or ended, and who read lists and took exports."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from axes.models import AccessAttempt
from django.conf import settings
from django.db.models import Max, Sum
from django.utils import timezone

from clinic.accounts.reads.accounts import accounts_of
from clinic.models import AuditEvent, Site, User, ViewEvent

__all__ = ["RefusedName", "exports_of", "list_reads_of", "refused_names", "sign_ins_ended"]

SHOWN = 50


@dataclass(frozen=True)
class RefusedName:
    """Wrong passwords of one account, from however many addresses."""

    user: User
    wrong: int
    addresses: int
    last: datetime
    locked: bool


def refused_names(manager: User) -> list[RefusedName]:
    """Accounts of the manager's clinics that were tried with a wrong password, newest first; two queries.

    What was typed as a name and is no account is not shown: it may be a password in the wrong field.
    """
    known = {user.username: user for user in accounts_of(manager)}
    rows: Any = (
        AccessAttempt.objects.filter(username__in=known)
        .order_by()
        .values("username", "ip_address")
        .annotate(wrong=Sum("failures_since_start"), last=Max("attempt_time"))
    )
    since = timezone.now() - settings.AXES_COOLOFF_TIME
    found: dict[str, list[Any]] = {}
    for row in rows:
        found.setdefault(row["username"], []).append(row)
    names = [
        RefusedName(
            known[name],
            sum(row["wrong"] for row in of_name),
            len(of_name),
            max(row["last"] for row in of_name),
            any(row["wrong"] >= settings.AXES_FAILURE_LIMIT and row["last"] > since for row in of_name),
        )
        for name, of_name in found.items()
    ]
    return sorted(names, key=lambda one: one.last, reverse=True)[:SHOWN]


def _events(site: Site, **wanted: Any) -> list[AuditEvent]:
    rows = AuditEvent.objects.filter(site_id=site.pk, **wanted)
    return list(rows.order_by("-sequence").only("at", "actor", "verb", "payload", "person_id")[:SHOWN])


def sign_ins_ended(site: Site) -> list[AuditEvent]:
    """Who ended sign-ins, of whom; the name of the account stands in the row."""
    return _events(site, target_kind="user", verb__startswith="ended ")


def exports_of(site: Site) -> list[AuditEvent]:
    """Files that left the clinic, newest first."""
    return _events(site, verb="exported")


def list_reads_of(site: Site) -> list[ViewEvent]:
    """Lists and exports that showed people of the clinic, newest first."""
    return list(ViewEvent.objects.filter(site_id=site.pk, person_id=None).order_by("-pk")[:SHOWN])
