"""The device on the foot: fitting and sealing it, opening it, stopping it."""

from __future__ import annotations

from datetime import date

from django.db import transaction

from clinic.alerts.writes.flags import no_open_flag
from clinic.devices.reads.sealing import SealingGate, sealing_gate
from clinic.devices.states import device_allowed, device_state
from clinic.devices.writes.decisions import decision_add, device_words, who
from clinic.devices.writes.fittings import (
    FittingFindings,
    fitting_store,
    fitting_words,
    sealed_list_check,
)
from clinic.devices.writes.opening_cards import handed_card_check, open_by_check
from clinic.guidelines.devices import DEVICES
from clinic.guidelines.due import sealed_past
from clinic.guidelines.overriding import may_be_closed
from clinic.models import DecisionKind, Limb, Prescription, User, Visit
from clinic.record.errors import Refused, Way
from clinic.record.lifecycle import all_missing, may_happen
from clinic.record.writes import audit
from clinic.record.writes.rows import store
from clinic.relief.writes.plan_life import seal_check
from clinic.rules.writes.next_dates import next_date_no_later_than
from clinic.rules.writes.reasons import reason_to_stop

__all__ = ["prescription_fit", "prescription_open", "prescription_stop"]


@transaction.atomic
def prescription_fit(
    *,
    by: User,
    prescription: Prescription,
    fitted_on: date,
    sealed: bool,
    open_by: date | None,
    expected_version: int,
    found: FittingFindings | None = None,
) -> Prescription:
    """Record that the device was fitted, and, when it stays on, sealed with a day to open it by."""
    device_allowed(prescription, "seal" if sealed else "fit", field=_field(prescription, sealed))
    if fitted_on < prescription.prescribed_on:
        raise Refused("Fitted on: lies before the prescription.", field="fitted_on")
    if prescription.stays_unsealed:
        _unsealed_check(prescription)
    elif prescription.is_non_removable and not sealed:
        raise Refused("A non-removable device is sealed when it is fitted.", field="sealed")
    if sealed and not prescription.is_non_removable:
        raise Refused("Only a non-removable device is sealed.", field="sealed")
    site = prescription.limb.person.site
    fitted = found or FittingFindings()
    if sealed:
        _seal_checks(prescription, fitted_on, open_by, fitted)
    row = fitting_store(
        by=by,
        prescription=prescription,
        fitted_on=fitted_on,
        sealed=sealed,
        open_by=open_by,
        found=fitted,
    )
    prescription.fitted_on = prescription.fitted_on or fitted_on
    prescription.sealed_on = fitted_on if sealed else None
    prescription.open_by = open_by if sealed else None
    prescription.opened_on = prescription.opened_visit = None
    store(prescription, by=by, expected_version=expected_version)
    person = prescription.limb.person
    if open_by is not None and row.review_on is not None and sealed:
        next_date_no_later_than(
            by=by,
            person=person,
            open_by=open_by,
            review_on=row.review_on,
            why="next review agreed at sealing",
        )
    until = f", to be opened by {open_by:%-d %b %Y}" if sealed and open_by else ""
    decision_add(
        by=by,
        prescription=prescription,
        kind=DecisionKind.SEALED if sealed else DecisionKind.FITTED,
        on=fitted_on,
        sentence=f"On {fitted_on:%-d %b %Y} {who(by)}, fitted{' and sealed' if sealed else ''} "
        f"{device_words(prescription)}{until}: {fitting_words(row)}.",
    )
    audit.record(
        by=by,
        site=site,
        verb="sealed" if sealed else "fitted",
        target=prescription,
        person=person,
        open_by=open_by,
    )
    return prescription


def _field(prescription: Prescription, sealed: bool) -> str | None:
    """The tick that is refused where a device would be worn, only not sealed."""
    return "sealed" if sealed and may_happen("device", device_state(prescription), "fit") else None


def _unsealed_check(prescription: Prescription) -> None:
    """Against a known danger a walker is worn unsealed until the second clinician has confirmed it."""
    if DEVICES[prescription.device_class].moulded_on:
        raise Refused(
            "A cast cannot stay unsealed: wait for the confirmation, or choose a walker.", field="sealed"
        )


def _seal_checks(
    prescription: Prescription, fitted_on: date, open_by: date | None, found: FittingFindings
) -> None:
    """Nobody is sealed in over an unanswered red flag, past the site's clock, or without the card in hand.
    All that is missing is said at once.
    """
    gate = sealing_gate(prescription, fitted_on)
    all_missing(
        lambda: no_open_flag(prescription.limb.person, "until then no device is sealed."),
        lambda: _foot_check(prescription, gate),
        lambda: _asked_check(prescription.limb, gate),
        lambda: open_by_check(prescription, fitted_on, open_by),
        lambda: _review_check(found.review_on, open_by),
        lambda: handed_card_check(prescription, fitted_on, open_by),
        lambda: seal_check(prescription, fitted_on),
        lambda: sealed_list_check(prescription, fitted_on, found),
    )


def _foot_check(prescription: Prescription, gate: SealingGate) -> None:
    if gate.hindered and not (prescription.overriding and may_be_closed(gate.foot.worst)):
        raise Refused(f"Not fitted and sealed on this foot. {' '.join(gate.hindered)}")


def _asked_check(limb: Limb, gate: SealingGate) -> None:
    if gate.open:
        raise Refused(
            f"Not asked yet: {', '.join(one.words.lower() for one in gate.open)}. "
            "Until each is answered no non-removable device is closed.",
            way=Way("finding_new", limb.pk, "Add the findings"),
        )


def _review_check(review_on: date | None, until: date | None) -> None:
    if review_on is not None and until is not None and review_on > until:
        raise Refused(
            f"Next review: {review_on:%-d %b %Y} lies after the day it must be opened by, {until:%-d %b %Y}.",
            field="review_on",
        )


@transaction.atomic
def prescription_open(
    *,
    by: User,
    prescription: Prescription,
    opened_on: date,
    expected_version: int,
    visit: Visit | None = None,
) -> Prescription:
    """Record that a sealed device was opened, at a visit or apart; its clock stops."""
    device_allowed(prescription, "open")
    assert prescription.sealed_on is not None  # sealed
    if opened_on < prescription.sealed_on:
        raise Refused("Opened on: lies before it was sealed.", field="opened_on")
    prescription.opened_on, prescription.opened_visit = opened_on, visit
    store(prescription, by=by, expected_version=expected_version)
    person = prescription.limb.person
    late = sealed_past(prescription.open_by, opened_on)
    decision_add(
        by=by,
        prescription=prescription,
        kind=DecisionKind.OPENED,
        on=opened_on,
        sentence=f"On {opened_on:%-d %b %Y} {who(by)}, opened {device_words(prescription)}"
        f"{f', later than {prescription.open_by:%-d %b %Y}' if late else ''}.",
    )
    audit.record(by=by, site=person.site, verb="opened", target=prescription, person=person, late=late)
    return prescription


@transaction.atomic
def prescription_stop(
    *, by: User, prescription: Prescription, stopped_on: date, stop_reason: str, expected_version: int
) -> Prescription:
    """Record that a device is no longer worn, and why. A sealed one is opened by that."""
    device_allowed(prescription, "stop")
    if stopped_on < prescription.prescribed_on:
        raise Refused("Stopped on: lies before the prescription.", field="stopped_on")
    stop = reason_to_stop(prescription.limb.person.site, stop_reason)
    prescription.stopped_on, prescription.stop_reason = stopped_on, stop.counts_as
    prescription.stop_own, prescription.stop_words = stop.row, stop.words
    if prescription.stays_closed:
        prescription.opened_on = stopped_on
    store(prescription, by=by, expected_version=expected_version)
    person = prescription.limb.person
    words = stop.words
    decision_add(
        by=by,
        prescription=prescription,
        kind=DecisionKind.STOPPED,
        on=stopped_on,
        sentence=f"On {stopped_on:%-d %b %Y} {who(by)}, stopped {device_words(prescription)}: "
        f"{words[0].lower()}{words[1:]}.",
    )
    audit.record(
        by=by, site=person.site, verb="stopped", target=prescription, person=person, reason=stop.words
    )
    return prescription
