"""The account of somebody whom the hospital's sign-on vouches for: its role and clinics follow their
groups.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.conf import settings
from django.db import transaction

from clinic.accounts.names import name_fault
from clinic.models import Site, User
from clinic.record.errors import Refused
from clinic.record.writes import audit

__all__ = ["sign_on_account"]

ASK = "Ask whoever looks after the hospital's groups."


def _granted(claims: Mapping[str, Any]) -> tuple[str, list[Site]]:
    """The one role and the clinics that the groups of these claims give."""
    groups = claims.get(settings.SIGN_ON_GROUPS_CLAIM)
    held = {groups} if isinstance(groups, str) else {one for one in groups or () if isinstance(one, str)}
    grants = [grant for grant in settings.SIGN_ON_ROLES if grant.group in held]
    roles = {grant.role for grant in grants}
    if not roles:
        raise Refused(f"The hospital's account is right, but none of its groups has a role here. {ASK}")
    if len(roles) > 1:
        raise Refused(f"The groups of this account give {len(roles)} roles here; one is needed. {ASK}")
    names = {grant.site for grant in grants}
    sites = list(Site.objects.filter(short_name__in=names).order_by("pk"))
    if len(sites) < len(names):
        raise Refused(f"A group of this account names a clinic that is not here. {ASK}")
    return roles.pop(), sites


@transaction.atomic
def sign_on_account(*, claims: Mapping[str, Any]) -> User:
    """The user of checked claims, made at the first sign-on; role and clinics are set as the groups say.

    An account is found by issuer and subject only, never by its name: a name can be given to somebody else.
    """
    role, sites = _granted(claims)
    subject = f"{claims['iss']} {claims['sub']}"
    user = User.objects.select_for_update().filter(sign_on_subject=subject).first()
    new = user is None
    if user is None:
        user = _new(claims, subject)
    elif not user.is_active:
        raise Refused("This account is stopped here. Ask the clinic's manager.")
    before = {"role": user.role, "sites": sorted(user.sites.values_list("pk", flat=True)) if not new else []}
    after = {"role": role, "sites": [site.pk for site in sites]}
    name = user.first_name, user.last_name
    user.first_name = str(claims.get("given_name") or user.first_name)[:150]
    user.last_name = str(claims.get("family_name") or user.last_name)[:150]
    user.role = role
    user.save()
    user.sites.set(sites)
    if new or before != after or name != (user.first_name, user.last_name):
        values = Site.objects.filter(pk__in={*before["sites"], *after["sites"]}).order_by("pk")
        for site in values:
            audit.record(
                by=user,
                site=site,
                verb="invited" if new else "changed",
                target=user,
                username=user.username,
                sign_on=True,
                role=role,
            )
    return User.objects.get(pk=user.pk)


def _new(claims: Mapping[str, Any], subject: str) -> User:
    name = str(claims.get(settings.SIGN_ON_NAME_CLAIM) or "").strip()
    user = User(username=name, sign_on_subject=subject)
    if not name or len(name) > 150:
        raise Refused(f"The hospital sent no user name of 1 to 150 letters for this account. {ASK}")
    if User.objects.filter(username__iexact=name).exists():
        raise Refused(
            f"A local account named {name} exists already, and it is not known to be the same person's. "
            "Ask the clinic's manager to stop or rename it."
        )
    if fault := name_fault(name):
        raise Refused(f"{fault} {ASK}")
    user.set_unusable_password()
    return user
