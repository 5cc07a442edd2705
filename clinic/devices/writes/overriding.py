"""Choosing a device that stays on against a known danger: who may sign second, by telephone too, and what
the signed record says of it.
"""

from __future__ import annotations

from datetime import datetime
from typing import Any, Protocol

from django.db import transaction
from django.utils import timezone
from django.utils.formats import date_format

from clinic.devices.reads.overriding import may_sign_second
from clinic.devices.states import device_allowed
from clinic.devices.writes.decisions import decision_add, device_words, who
from clinic.evidence.reads.standing import LimbStanding
from clinic.guidelines.devices import NON_REMOVABLE
from clinic.guidelines.overriding import LESSER_REASONS, Overriding, overriding_of
from clinic.models import DecisionKind, Prescription, User
from clinic.record.errors import Refused
from clinic.record.writes import audit
from clinic.record.writes.rows import store
from clinic.rules.reads.reasons import ReasonChoice

__all__ = [
    "override_needs",
    "override_check",
    "override_confirm",
    "override_telephone",
    "second_check",
]

#: Facts of the page without which nobody knows what a device that stays on would meet, beside blood and
#: infection, which the standing state answers.
PAGE_FACTS = frozenset(
    {
        "infection_grade",
        "osteomyelitis",
        "ischaemia_grade",
        "high_falls_risk",
        "cannot_attend_weekly",
        "both_feet_ulcerated",
        "active_charcot",
        "cause",
        "region",
        "surface",
    }
)


class ShownFacts(Protocol):
    """What the page showed: the advice, and what stands about the foot."""

    @property
    def advice(self) -> Any: ...
    @property
    def foot(self) -> LimbStanding: ...


def override_needs(decision: ShownFacts) -> Overriding | None:
    """What choosing a withheld device that stays on asks for on these facts; None where none is withheld."""
    if {offer.id for offer in decision.advice.classes} >= NON_REMOVABLE:
        return None
    missing = [name.replace("_", " ") for name in decision.advice.missing if name in PAGE_FACTS]
    return overriding_of(decision.foot.worst, missing)


def override_check(
    decision: ShownFacts, device_class: str, departure: ReasonChoice | None
) -> tuple[str, ...]:
    """Why the class is withheld, where it stays on and a second clinician may sign it; refused where nobody
    may. Empty for every other class.
    """
    if device_class not in NON_REMOVABLE or device_class in {o.id for o in decision.advice.classes}:
        return ()
    demand = override_needs(decision)
    assert demand is not None
    if demand.kind != "second":
        raise Refused(demand.words, field="device_class")
    if departure is None:
        raise Refused(
            "A non-removable device is not signed on this foot without the reason that fits best, in words, "
            "and a second signature.",
            field="departure_reason",
        )
    if departure.counts_as in LESSER_REASONS:
        raise Refused(
            f"A non-removable device is not signed on this foot because of “{departure.words}”: that speaks "
            "for a removable one.",
            field="departure_reason",
        )
    found = [row.because for row in decision.advice.withheld if row.id == device_class]
    return tuple(found) or ("No rule offers this class for these ulcers.",)


def second_check(by: User, prescription: Prescription) -> None:
    """Whether this user may sign this prescription second."""
    if may_sign_second(prescription, by):
        return
    if not prescription.overriding:
        raise Refused("The second signature is another podiatrist's than the first.")
    raise Refused(
        "Against a known danger another registered clinician than the first signs second: a podiatrist, or "
        "staff whose profession stands in the account. A manager does not sign."
    )


@transaction.atomic
def override_telephone(
    *,
    by: User,
    prescription: Prescription,
    second_name: str,
    second_role: str,
    second_telephone: str,
    spoken_at: datetime,
    expected_version: int,
) -> Prescription:
    """An outside clinician agreed by telephone; the confirmation comes within two working days."""
    device_allowed(prescription, "telephone")
    if not prescription.overriding:
        raise Refused("Only a device signed against a known danger is signed second by telephone.")
    given = {
        "second_name": second_name.strip(),
        "second_role": second_role.strip(),
        "second_telephone": second_telephone.strip(),
    }
    for field, words in (("second_name", "Name"), ("second_role", "Role"), ("second_telephone", "Number")):
        if not given[field]:
            raise Refused(f"{words} of the outside clinician: missing.", field=field)
    now = timezone.now()
    if spoken_at > now:
        raise Refused(f"Spoken at: {_moment(spoken_at)} lies in the future.", field="spoken_at")
    if timezone.localdate(spoken_at) < prescription.prescribed_on:
        raise Refused(
            f"Spoken at: {_moment(spoken_at)} lies before the prescription of "
            f"{date_format(prescription.prescribed_on)}; the call is about this one.",
            field="spoken_at",
        )
    for field, value in given.items():
        setattr(prescription, field, value)
    prescription.second_at = spoken_at
    store(prescription, by=by, expected_version=expected_version)
    today = timezone.localdate()
    decision_add(
        by=by,
        prescription=prescription,
        kind=DecisionKind.PHONED,
        on=today,
        sentence=f"On {today:%-d %b %Y} {who(by)}, wrote down that {given['second_name']}, "
        f"{given['second_role']} ({given['second_telephone']}), agreed by telephone at "
        f"{_moment(spoken_at)} to {device_words(prescription)}; to be confirmed in writing.",
    )
    person = prescription.limb.person
    audit.record(
        by=by,
        site=person.site,
        verb="signed second by telephone",
        target=prescription,
        person=person,
        second_name=given["second_name"],
        second_role=given["second_role"],
        second_telephone=given["second_telephone"],
    )
    return prescription


@transaction.atomic
def override_confirm(
    *, by: User, prescription: Prescription, second_confirmed_how: str, expected_version: int
) -> Prescription:
    """The outside clinician's confirmation has come; from now on the device may be sealed."""
    device_allowed(prescription, "confirm")
    how = second_confirmed_how.strip()
    if not how:
        raise Refused(
            "How it was confirmed: say by which letter or message, and of when.", field="second_confirmed_how"
        )
    prescription.second_confirmed_at, prescription.second_confirmed_how = timezone.now(), how
    store(prescription, by=by, expected_version=expected_version)
    today = timezone.localdate()
    decision_add(
        by=by,
        prescription=prescription,
        kind=DecisionKind.CONFIRM,
        on=today,
        sentence=f"On {today:%-d %b %Y} {who(by)}, wrote down that {prescription.second_name} confirmed "
        f"{device_words(prescription)}: {how}.",
    )
    person = prescription.limb.person
    audit.record(by=by, site=person.site, verb="confirmed", target=prescription, person=person, how=how)
    return prescription


def _moment(at: datetime) -> str:
    return date_format(timezone.localtime(at), "DATETIME_FORMAT")
