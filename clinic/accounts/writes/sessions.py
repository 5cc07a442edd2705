"""Signing in and out: which browsers are signed in, the second factor, and ending them all."""

from __future__ import annotations

import base64
import hashlib
import re
import secrets
from typing import Any

from django.contrib.sessions.models import Session
from django.db import transaction
from django.utils import timezone
from django_otp.plugins.otp_static.models import StaticDevice
from django_otp.plugins.otp_totp.models import TOTPDevice

from clinic.models import SignIn, User
from clinic.record.errors import Refused
from clinic.record.writes import audit

__all__ = [
    "browser_words",
    "code_accept",
    "enrol_confirm",
    "enrol_drop",
    "enrol_start",
    "enrolling",
    "sign_in_moved",
    "sign_in_note",
    "sign_out_everywhere",
    "sign_out_one",
    "sign_out_others",
]

RECOVERY_CODES = 10
_BROWSERS = (("Edg", "Edge"), ("Firefox", "Firefox"), ("Chrome", "Chrome"), ("Safari", "Safari"))
_SYSTEMS = (
    ("Android", "Android"),
    ("iPad", "iPad"),
    ("iPhone", "iPhone"),
    ("Windows", "Windows"),
    ("Mac OS", "Mac"),
    ("Linux", "Linux"),
)


def browser_words(agent: str) -> str:
    """A browser as its user would name it; the full line is not kept."""
    browser = next((words for mark, words in _BROWSERS if mark in agent), "A browser")
    system = next((words for mark, words in _SYSTEMS if mark in agent), "")
    return f"{browser} on {system}" if system else browser


def sign_in_note(*, user: User, session_key: str, agent: str) -> SignIn:
    """Keep that this browser is signed in; rows whose session is gone are swept."""
    live = Session.objects.filter(
        session_key__in=user.sign_ins.values("session_key"),  # type: ignore[attr-defined]
        expire_date__gt=timezone.now(),
    ).values("session_key")
    user.sign_ins.exclude(session_key__in=live).delete()  # type: ignore[attr-defined]
    return SignIn.objects.create(
        user=user, session_key=session_key, at=timezone.now(), browser=browser_words(agent)
    )


def sign_in_moved(*, old: str, new: str) -> None:
    """The session got a new key (second factor, new password): the list follows it."""
    row = SignIn.objects.filter(session_key=old).first()
    if row is not None:
        row.session_key = new
        row.save(update_fields=["session_key"])


@transaction.atomic
def sign_out_one(*, by: User, sign_in: int) -> None:
    row = by.sign_ins.filter(pk=sign_in).first()  # type: ignore[attr-defined]
    if row is None:
        raise Refused("That sign-in has ended already.")
    sign_ins = by.sign_ins.filter(pk=row.pk)  # type: ignore[attr-defined]
    _end(sign_ins)
    _tell_ended(by, 1)


@transaction.atomic
def sign_out_others(*, by: User, but: str | None) -> int:
    """End all of one's sign-ins but this one."""
    count = sign_out_everywhere(user=by, but=but)
    if count:
        _tell_ended(by, count)
    return count


def _tell_ended(by: User, count: int) -> None:
    for site in by.sites.order_by("pk"):
        audit.record(by=by, site=site, verb="ended sign-ins of their own", target=by, count=count)


def sign_out_everywhere(*, user: User, but: str | None = None) -> int:
    """End every signed-in browser of a user, except the one named."""
    rows = user.sign_ins.exclude(session_key=but or "")  # type: ignore[attr-defined]
    return _end(rows)


def _end(rows: Any) -> int:
    keys = list(rows.values_list("session_key", flat=True))
    sessions = Session.objects.filter(session_key__in=keys)
    sessions.delete()
    rows.delete()
    return len(keys)


def _code_hash(code: str) -> str:
    """Recovery codes are kept as 96 bits of a hash, which is what the field holds; a code has 118 random
    bits.
    """
    plain = re.sub(r"[^a-z0-9]", "", code.lower())
    return base64.b64encode(hashlib.sha256(plain.encode()).digest()).decode()[:16]


@transaction.atomic
def enrol_start(*, by: User) -> TOTPDevice:
    """A device with a key of its own; any key that was shown before and not confirmed is dropped."""
    enrol_drop(by=by)
    return TOTPDevice.objects.create(user=by, name="authenticator", confirmed=False)


def enrolling(*, by: User) -> TOTPDevice | None:
    """The device whose key was shown and not confirmed yet."""
    return TOTPDevice.objects.filter(user=by, confirmed=False).first()


def enrol_drop(*, by: User) -> None:
    unconfirmed = TOTPDevice.objects.filter(user_id=by.pk, confirmed=False)
    unconfirmed.delete()


@transaction.atomic
def enrol_confirm(*, by: User, code: str) -> tuple[TOTPDevice, list[str]]:
    """Turn the second factor on, or replace the old one; returns the recovery codes, shown this once.

    The page asked for the password.
    """
    device = TOTPDevice.objects.select_for_update().filter(user=by, confirmed=False).first()
    if device is None:
        raise Refused("This enrolment has ended; open the page again.")
    if not device.verify_token(_digits(code)):
        raise Refused("Code: not right, or too old. Type the one shown now.", field="code")
    earlier = TOTPDevice.objects.filter(user=by, confirmed=True)
    earlier.delete()
    device.confirmed = True
    device.save()
    earlier_codes = StaticDevice.objects.filter(user=by)
    earlier_codes.delete()
    held = StaticDevice.objects.create(user=by, name="recovery codes")
    letters = "abcdefghjkmnpqrstuvwxyz23456789"
    codes = []
    for _ in range(RECOVERY_CODES):
        plain = "".join(secrets.choice(letters) for _ in range(24))
        held.token_set.create(token=_code_hash(plain))
        codes.append("-".join(plain[n : n + 6] for n in range(0, 24, 6)))
    by.second_factor = True
    by.save(update_fields=["second_factor"])
    for site in by.sites.all():
        audit.record(by=by, site=site, verb="enrolled the second factor of", target=by, username=by.username)
    return device, codes


def _digits(code: str) -> str:
    return re.sub(r"\D", "", code)


def code_accept(*, by: User, code: str) -> Any | None:
    """The device that accepts the code, or None. A time code is accepted once, a recovery code ever only
    once.

    Each wrong code doubles the wait before the next is looked at (django-otp's throttling).
    """
    with transaction.atomic():
        typed = code.strip()
        if re.fullmatch(r"[\d\s]{6,8}", typed):
            device: Any = TOTPDevice.objects.select_for_update().filter(user=by, confirmed=True).first()
            token = _digits(typed)
        else:
            device = StaticDevice.objects.select_for_update().filter(user=by).first()
            token = _code_hash(typed)
        if device is None or not device.verify_is_allowed()[0]:
            return None
        return device if device.verify_token(token) else None
