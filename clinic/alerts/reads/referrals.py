"""Reading a referral: how far it has come."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from django.utils import timezone

from clinic.alerts.states import referral_state
from clinic.guidelines.clocks import Clock, referral_clock
from clinic.models import Referral, Site
from clinic.rules.reads.clocks import hours_of, telephone_now

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
    #: For how long it has been past its time, and which number to call now.
    late_words: str = ""
    telephone: str = ""


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
        reached=referral_state(referral) != "made",
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
    site = referral.person.site
    clock = clock_of(referral, site, moment)
    telephone, _ = telephone_now(site, moment, referral.urgency)
    if referral.cancelled_because:
        words = f"Cancelled: {referral.cancelled_because}"
        return ReferralPage(referral, steps, words, clock, "", telephone)
    owed = None if referral.result else next((step.words.lower() for step in steps if not step.done), None)
    late = f"Late by {_waited(clock.due, moment)}." if clock.late and clock.due else ""
    if owed == "reached" and late:
        # The stop beside it says that it has not reached them, and since when.
        words, late = late, ""
    elif owed:
        words = f"Not {owed} yet, {_waited(referral.made_at, moment)} after it was made."
    elif not referral.result:
        words = "Seen; the result has not come back."
    else:
        words = ""
    if owed and referral.attempts:
        tries = f"{referral.attempts} attempt{'' if referral.attempts == 1 else 's'}"
        words += f" {tries} without an answer."
    return ReferralPage(referral, steps, words, clock, late, telephone)
