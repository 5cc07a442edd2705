"""Reading a referral: how far it has come."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from django.utils import timezone

from clinic.guidelines.clocks import Clock, referral_clock
from clinic.models import Referral, Site
from clinic.rules.reads.clocks import hours_of

__all__ = ["ReferralPage", "ReferralStep", "clock_of", "referral_page"]


@dataclass(frozen=True)
class ReferralStep:
    """One step of a referral; no time yet is a step still owed."""

    words: str
    at: datetime | None = None
    on: date | None = None

    @property
    def done(self) -> bool:
        return self.at is not None or self.on is not None


@dataclass(frozen=True)
class ReferralPage:
    referral: Referral
    steps: tuple[ReferralStep, ...]
    next_words: str
    clock: Clock


def _waited(since: datetime, now: datetime) -> str:
    hours = int((now - since).total_seconds() // 3600)
    if hours < 1:
        return "less than an hour"
    if hours < 48:
        return f"{hours} hour{'' if hours == 1 else 's'}"
    return f"{hours // 24} days"


def clock_of(referral: Referral, site: Site, now: datetime) -> Clock:
    """How far behind a referral is at the clinic whose hours count."""
    return referral_clock(
        referral.made_at,
        referral.urgency,
        hours_of(site),
        now,
        reached=any((referral.reached_at, referral.accepted_at, referral.seen_on)),
        planned_days=site.planned_reach_days,
    )


def referral_page(referral: Referral, now: datetime | None = None) -> ReferralPage:
    """The steps of a referral and which of them is owed next; no query of its own."""
    moment = now or timezone.now()
    steps = (
        ReferralStep("Made", at=referral.made_at),
        ReferralStep("Reached", at=referral.reached_at),
        ReferralStep("Accepted", at=referral.accepted_at),
        ReferralStep("Seen", on=referral.seen_on),
    )
    owed = next((step.words.lower() for step in steps if not step.done), None)
    if owed:
        words = f"Not {owed} yet, {_waited(referral.made_at, moment)} after it was made."
    elif not referral.result:
        words = "Seen; the result has not come back."
    else:
        words = ""
    return ReferralPage(referral, steps, words, clock_of(referral, referral.person.site, moment))
