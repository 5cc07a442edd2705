"""The card a person leaves with when a device is sealed on. Without it no sealed device counts as fitted."""

from __future__ import annotations

from datetime import date
from typing import Any

from django.db import transaction
from django.utils import timezone

from clinic.devices.prints.handout import after_the_signs, emergency_signs, paper_faults, plain_name
from clinic.devices.prints.signs import CALL_SIGNS, HOW_TO_OPEN
from clinic.devices.reads.wearers import paper_numbers
from clinic.devices.states import card_allowed, card_for, device_allowed
from clinic.guidelines.clocks import latest_opening
from clinic.guidelines.wearer import PaperDates
from clinic.models import OpeningCard, Prescription, User
from clinic.record.errors import Refused
from clinic.record.writes import audit
from clinic.record.writes.rows import store
from clinic.rules.reads.clocks import seal_rule

__all__ = ["card_hand_over", "card_make", "handed_card_check", "open_by_check"]


def open_by_check(prescription: Prescription, sealed_on: date, open_by: date | None) -> date:
    """The day to open lies after the sealing and within the site's rule."""
    latest = latest_opening(
        sealed_on, seal_rule(prescription.limb.person.site), first=prescription.fitted_on is None
    )
    if open_by is None or not sealed_on < open_by <= latest:
        days = (latest - sealed_on).days
        raise Refused(
            f"Open by: within {days} day{'' if days == 1 else 's'} of sealing, "
            f"{latest:%-d %b %Y} at the latest.",
            field="open_by",
        )
    return open_by


@transaction.atomic
def card_make(*, by: User, prescription: Prescription, sealed_on: date, open_by: date | None) -> OpeningCard:
    """Make the card of one sealing, with copies of everything it says."""
    if not prescription.is_non_removable:
        raise Refused("Only a non-removable device has an opening card.")
    device_allowed(prescription, "card")
    if sealed_on < prescription.prescribed_on:
        raise Refused(
            f"Sealed on: {sealed_on:%-d %b %Y} lies before the prescription, "
            f"{prescription.prescribed_on:%-d %b %Y}.",
            field="sealed_on",
        )
    until = open_by_check(prescription, sealed_on, open_by)
    card = OpeningCard(
        prescription=prescription,
        sealed_on=sealed_on,
        open_by=until,
        content=_content(prescription, until),
    )
    store(card, by=by)
    person = prescription.limb.person
    audit.record(by=by, site=person.site, verb="printed", target=card, person=person, open_by=until)
    return card


def _content(prescription: Prescription, until: date) -> dict[str, Any]:
    site = prescription.limb.person.site
    lacking = next((row for row in site.telephones if not row["in_hours"] or not row["out_of_hours"]), None)
    if lacking:
        raise Refused(
            "This clinic has no telephone number for every hour in its house rules "
            f"({lacking['words'].lower()}); "
            "nobody leaves sealed without one."
        )
    faults = paper_faults(PaperDates(today=timezone.localdate(), open_by=until), paper_numbers(site))
    if faults:
        raise Refused(" ".join(faults))
    return {
        "clinic": site.name,
        "side": prescription.limb.side,
        "device": str(plain_name(prescription.device_class)),
        "emergency": site.telephone_emergency,
        "telephones": list(site.telephones),
        "hours": f"{site.hours_start:%H:%M}–{site.hours_end:%H:%M}",
        "emergency_signs": [str(one) for one in emergency_signs()],
        "call": [str(one) for one in CALL_SIGNS],
        "after_call": [str(one) for one in after_the_signs(stays_on=True)],
        "how_to_open": site.opening_text.strip() or str(HOW_TO_OPEN),
    }


@transaction.atomic
def card_hand_over(*, by: User, card: OpeningCard) -> OpeningCard:
    """Record that the person holds the printed card."""
    card_allowed(card, "hand_over")
    card.handed_at, card.handed_by = timezone.now(), by
    store(card, by=by)
    person = card.prescription.limb.person
    audit.record(by=by, site=person.site, verb="handed over", target=card, person=person)
    return card


def handed_card_check(prescription: Prescription, sealed_on: date, open_by: date | None) -> None:
    """Refuse a sealing whose card, of the same two days, is not in the person's hands."""
    card = card_for(prescription, sealed_on)
    card_allowed(card, "seal")
    if card is not None and open_by is not None and card.open_by != open_by:
        raise Refused(
            f"Open by: the card in the patient's hands says {card.open_by:%-d %b %Y}. Use that day, or print "
            "and "
            "give a new card.",
            field="open_by",
        )
