"""The life of an account, in a manager's hands: invited, changed, switched off; its one-time links."""

from __future__ import annotations

import hashlib
import secrets
from collections.abc import Iterable
from datetime import timedelta
from typing import Any

from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone

from clinic.accounts.names import name_fault
from clinic.accounts.states import account_allowed
from clinic.accounts.writes.handing_over import work_hand_over
from clinic.accounts.writes.sessions import enrol_drop, sign_out_everywhere
from clinic.models import AccountLink, LinkPurpose, Role, Site, User
from clinic.record.errors import Refused
from clinic.record.writes import audit

__all__ = [
    "account_change",
    "account_invite",
    "account_reset",
    "link_find",
    "link_make",
    "link_use",
    "own_password_change",
    "second_factor_remove",
]

LINK_LASTS = timedelta(hours=72)


def _hash(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()


def _shared(by: User, user: User) -> list[Site]:
    """Sites whose chain tells of this account: those both work at."""
    return list(Site.objects.filter(pk__in=set(by.site_ids) & set(user.site_ids)).order_by("pk"))


def _record(by: User, user: User, verb: str, sites: Iterable[Site], **detail: Any) -> None:
    for site in sites:
        audit.record(by=by, site=site, verb=verb, target=user, username=user.username, **detail)


def _own_sites(by: User, sites: Iterable[Site]) -> list[Site]:
    chosen = list(sites)
    if not chosen:
        raise Refused("Clinics: none chosen; an account needs at least one.", field="sites")
    if {site.pk for site in chosen} - set(by.site_ids):
        raise Refused("Clinics: only those you work at yourself can be given.", field="sites")
    return chosen


def _registered_check(role: str, registered_as: str) -> None:
    if registered_as.strip() and role == Role.MANAGER:
        raise Refused(
            "Registered as: a manager signs no clinical decision; leave it empty.", field="registered_as"
        )


def links_end(user: User) -> None:
    """No unused link of the account works from now on: a newer one was made, or it is switched off."""
    now = timezone.now()
    for old in user.links.filter(used_at=None, expires_at__gt=now):  # type: ignore[attr-defined]
        old.expires_at = now
        old.save(update_fields=["expires_at"])


def link_make(by: User, user: User, purpose: str) -> str:
    """A one-time link for a user; call inside the transaction of what it is for, before its audit row."""
    now = timezone.now()
    links_end(user)
    token = secrets.token_urlsafe(32)
    AccountLink.objects.create(
        user=user,
        purpose=purpose,
        token_sha256=_hash(token),
        made_at=now,
        made_by=by,
        expires_at=now + LINK_LASTS,
    )
    return token


@transaction.atomic
def account_invite(
    *,
    by: User,
    username: str,
    first_name: str,
    last_name: str,
    role: str,
    sites: Iterable[Site],
    registered_as: str = "",
) -> tuple[User, str]:
    """Make an account without a password, and the one-time link that sets it."""
    chosen = _own_sites(by, sites)
    if fault := name_fault(username):
        raise Refused(fault, field="username")
    if role not in Role.values:
        raise Refused(f"Role: {role} is not one of {', '.join(Role.values)}.", field="role")
    _registered_check(role, registered_as)
    user = User(
        username=username,
        first_name=first_name,
        last_name=last_name,
        role=role,
        registered_as=registered_as.strip(),
    )
    user.set_unusable_password()
    user.save()
    user.sites.set(chosen)
    token = link_make(by, user, LinkPurpose.INVITE)
    _record(by, user, "invited", chosen, role=role, registered_as=user.registered_as)
    return user, token


@transaction.atomic
def account_change(
    *,
    by: User,
    user: User,
    first_name: str,
    last_name: str,
    role: str,
    active: bool,
    sites: Iterable[Site],
    registered_as: str = "",
    hand_to: User | None = None,
) -> User:
    """Change role, clinics or whether the account is on. Clinics of others stay as they are. What the account
    owns where it is no longer on goes to a colleague.
    """
    user = User.objects.select_for_update().get(pk=user.pk)
    chosen = _own_sites(by, sites)
    if role not in Role.values:
        raise Refused(f"Role: {role} is not one of {', '.join(Role.values)}.", field="role")
    _registered_check(role, registered_as)
    if user.pk == by.pk and (role != user.role or not active):
        raise Refused("Your own role and state are changed by another manager.", field="role")
    if active != user.is_active:
        account_allowed(user, "switch_on" if active else "switch_off")
    before = {
        "name": str(user),
        "role": user.role,
        "registered_as": user.registered_as,
        "active": user.is_active,
        "sites": sorted(user.sites.values_list("name", flat=True)),
    }
    kept = {site.pk for site in chosen} if active else set()
    left = [pk for pk in by.site_ids if pk not in kept]
    handed = work_hand_over(by=by, user=user, sites=left, hand_to=hand_to)
    touched = {site.pk: site for site in [*_shared(by, user), *chosen]}
    user.first_name, user.last_name, user.role, user.is_active = first_name, last_name, role, active
    user.registered_as = registered_as.strip()
    user.save(update_fields=["first_name", "last_name", "role", "is_active", "registered_as"])
    others = list(user.sites.exclude(pk__in=by.site_ids))
    user.sites.set([*others, *chosen])
    after = {
        "name": str(user),
        "role": user.role,
        "registered_as": user.registered_as,
        "active": user.is_active,
        "sites": sorted(user.sites.values_list("name", flat=True)),
    }
    changes = {key: [before[key], after[key]] for key in before if before[key] != after[key]}
    if not changes and not handed:
        raise Refused("Nothing was changed.")
    if not active or "role" in changes or "sites" in changes:
        sign_out_everywhere(user=user)
    if not active:
        links_end(user)  # nor does one of before work again when it is switched on
    verb = "changed" if active or "active" not in changes else "switched off"
    _record(by, user, verb, touched.values(), changes=changes)
    return user


@transaction.atomic
def account_reset(*, by: User, user: User) -> str:
    """A one-time link for a new password; the old one stops working at once."""
    account_allowed(user, "reset")
    if user.sign_on_subject:
        raise Refused("This account signs in with the hospital's account; its password is kept there.")
    user.set_unusable_password()
    user.save(update_fields=["password"])
    sign_out_everywhere(user=user)
    token = link_make(by, user, LinkPurpose.RESET)
    _record(by, user, "reset the password of", _shared(by, user))
    return token


@transaction.atomic
def second_factor_remove(*, by: User, user: User) -> None:
    """For a lost device: the person enrols a new one at the next sign-in."""
    if user.pk == by.pk:
        raise Refused("Your own second factor is removed by another manager.")
    user.totpdevice_set.all().delete()  # type: ignore[attr-defined]
    user.staticdevice_set.all().delete()  # type: ignore[attr-defined]
    user.second_factor = False
    user.save(update_fields=["second_factor"])
    sign_out_everywhere(user=user)
    _record(by, user, "removed the second factor of", _shared(by, user))


def link_find(token: str) -> AccountLink | None:
    """The link if it still works."""
    found = AccountLink.objects.select_related("user").filter(token_sha256=_hash(token)).first()
    if found is None or found.used_at or found.expires_at <= timezone.now() or not found.user.is_active:
        return None
    return found


def _set_password(user: User, password: str, field: str) -> None:
    try:
        validate_password(password, user)
    except ValidationError as fault:
        raise Refused(" ".join(fault.messages), field=field) from fault
    user.set_password(password)
    user.save(update_fields=["password"])
    # Whoever noted a key before the change shall not confirm it after.
    enrol_drop(by=user)


@transaction.atomic
def link_use(*, token: str, password: str) -> User:
    """Set the password once; the same link again is refused."""
    link = AccountLink.objects.select_for_update().filter(token_sha256=_hash(token)).first()
    if link is None or link_find(token) is None:
        raise Refused("This link was used or is too old. Ask the clinic's manager for a new one.")
    account_allowed(link.user, "set_password")
    _set_password(link.user, password, "password")
    link.used_at = timezone.now()
    link.save(update_fields=["used_at"])
    sign_out_everywhere(user=link.user)
    _record(link.user, link.user, "set the password of", link.user.sites.all())
    return link.user


@transaction.atomic
def own_password_change(*, by: User, old: str, new: str, keep_session: str | None) -> User:
    """One's own password, with the old one; every other sign-in ends."""
    user = User.objects.select_for_update().get(pk=by.pk)
    if not user.check_password(old):
        raise Refused("Password now: not right.", field="old")
    if old == new:
        raise Refused("New password: the same as the old one.", field="new")
    _set_password(user, new, "new")
    sign_out_everywhere(user=user, but=keep_session)
    _record(user, user, "changed the password of", user.sites.all())
    return user
