"""Making a referral, and chasing it: reached, accepted, seen, result."""

from __future__ import annotations

from datetime import date, datetime
from typing import Any

from django.db import transaction
from django.utils import timezone
from django.utils.formats import date_format

from clinic.alerts.states import referral_state
from clinic.models import Lesion, Person, Referral, User
from clinic.record.errors import Refused
from clinic.record.lifecycle import allowed
from clinic.record.writes import audit
from clinic.record.writes.rows import store

__all__ = ["referral_follow", "referral_make"]

_CANCELLED = "cancelled_because"


def _moment(at: datetime) -> str:
    return date_format(timezone.localtime(at), "DATETIME_FORMAT")


@transaction.atomic
def referral_make(
    *,
    by: User,
    person: Person,
    to: str,
    urgency: str,
    because: str,
    made_at: datetime,
    lesion: Lesion | None = None,
) -> Referral:
    """Record that a person, or one lesion of theirs, was referred."""
    if lesion is not None and lesion.limb.person_id != person.pk:
        raise Refused("For: that ulcer belongs to someone else.", field="lesion")
    if made_at > timezone.now():
        raise Refused(f"Made at: {_moment(made_at)} lies in the future.", field="made_at")
    if timezone.localtime(made_at).date() < person.birth_date:
        raise Refused(f"Made at: {_moment(made_at)} lies before the patient was born.", field="made_at")
    made = store(
        Referral(
            person=person, lesion=lesion, to=to, urgency=urgency, because=because.strip(), made_at=made_at
        ),
        by=by,
    )
    audit.record(
        by=by,
        site=person.site,
        verb="made",
        target=made,
        person=person,
        to=to,
        urgency=urgency,
        lesion=lesion.label if lesion else None,
    )
    return made


@transaction.atomic
def referral_follow(
    *,
    by: User,
    referral: Referral,
    reached_at: datetime | None,
    accepted_at: datetime | None,
    seen_on: date | None,
    result: str,
    expected_version: int,
    tried_at: datetime | None = None,
    cancelled_because: str = "",
) -> Referral:
    """Record how far a referral has come; an earlier entry may be corrected, its copy stays in the
    history.
    """
    values: dict[str, Any] = {
        "reached_at": reached_at,
        "accepted_at": accepted_at,
        "seen_on": seen_on,
        "result": result.strip(),
        "tried_at": tried_at,
        "cancelled_because": cancelled_because.strip(),
    }
    # The page's control has no seconds: a time shown and sent back unchanged is the same time.
    changed = {
        name: (getattr(referral, name), value)
        for name, value in values.items()
        if _minute(getattr(referral, name)) != _minute(value)
    }
    if not changed:
        raise Refused("Nothing new was entered.")
    event = "cancel" if values["cancelled_because"] else "follow"
    allowed("referral", referral_state(referral), event, field=_CANCELLED)
    _in_order(referral, reached_at, accepted_at, seen_on)
    if tried_at and tried_at < referral.made_at.replace(second=0, microsecond=0):
        raise Refused("Tried at: lies before the referral was made.", field="tried_at")
    if tried_at and "tried_at" in changed:
        referral.attempts += 1
    for name, (_, value) in changed.items():
        setattr(referral, name, "" if name == _CANCELLED else value)
    # As the page leaves it, a cancelled one is neither accepted nor answered.
    allowed("referral", referral_state(referral), event, field=_CANCELLED)
    referral.cancelled_because = values["cancelled_because"]
    store(referral, by=by, expected_version=expected_version)
    audit.record(
        by=by,
        site=referral.person.site,
        verb="followed up",
        target=referral,
        person=referral.person,
        to=referral.to,
        changes={name: [_told(old), _told(new)] for name, (old, new) in changed.items()},
    )
    return referral


def _minute(value: Any) -> Any:
    return value.replace(second=0, microsecond=0) if isinstance(value, datetime) else value


def _told(value: Any) -> Any:
    if isinstance(value, datetime):
        return _moment(value)
    return value


def _in_order(
    referral: Referral, reached_at: datetime | None, accepted_at: datetime | None, seen_on: date | None
) -> None:
    made = referral.made_at.replace(second=0, microsecond=0)
    if reached_at and reached_at < made:
        raise Refused(
            f"Reached them at: {_moment(reached_at)} lies before the referral was made, {_moment(made)}.",
            field="reached_at",
        )
    before = reached_at or made
    if accepted_at and accepted_at < before:
        raise Refused(
            f"Accepted at: {_moment(accepted_at)} lies before {_moment(before)}, when they were "
            f"{'reached' if reached_at else 'asked'}.",
            field="accepted_at",
        )
    first_day = timezone.localtime(made).date()
    if seen_on and seen_on < first_day:
        raise Refused(
            f"Patient seen there on: {date_format(seen_on)} lies before the referral was made, "
            f"{date_format(first_day)}.",
            field="seen_on",
        )
