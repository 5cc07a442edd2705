"""How far a referral has come, from the values of its row."""

from __future__ import annotations

from clinic.lifecycle.referral import referral_state_of
from clinic.models import Referral

__all__ = ["referral_state"]


def referral_state(referral: Referral) -> str:
    return referral_state_of(
        reached=referral.reached_at is not None,
        accepted=referral.accepted_at is not None,
        seen=referral.seen_on is not None,
        result=bool(referral.result),
        cancelled=bool(referral.cancelled_because),
    )
