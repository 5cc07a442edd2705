"""How a device signed against a known danger stands: whom it waits for, until when."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from clinic.guidelines.clocks import Clock
from clinic.guidelines.overriding import confirmation_clock
from clinic.models import Prescription, Role, User
from clinic.rules.reads.clocks import hours_of

__all__ = ["OverridingPage", "may_sign_second", "overriding_page"]


@dataclass(frozen=True)
class OverridingPage:
    """What the prescription page says beside the signature.

    `against` are the words copied at signing; `clock` is set while a confirmation is awaited.
    """

    against: tuple[str, ...]
    may_sign: bool
    clock: Clock | None


def may_sign_second(prescription: Prescription, user: User) -> bool:
    """Whether this user can end the wait by signing: a registered clinician against a known danger, else a
    podiatrist, and never who signed first.
    """
    if prescription.signed_by_id == user.pk:
        return False
    return user.is_registered if prescription.overriding else user.role == Role.PODIATRIST


def overriding_page(prescription: Prescription, user: User, now: datetime) -> OverridingPage:
    """No query of its own."""
    clock = None
    if prescription.waits_for_confirmation and prescription.second_at is not None:
        clock = confirmation_clock(prescription.second_at, hours_of(prescription.limb.person.site), now)
    return OverridingPage(
        tuple(prescription.content.get("against", ())) if prescription.overriding else (),
        prescription.waits_for_second and may_sign_second(prescription, user),
        clock,
    )
