"""Taking back that a sealed device was opened, or that it was sealed; correcting the day it was opened."""

from __future__ import annotations

from datetime import date
from typing import Any

from django.db import transaction
from django.utils import timezone

from clinic.devices.states import device_allowed
from clinic.devices.writes.decisions import decision_add, device_words, who
from clinic.guidelines.due import sealed_past
from clinic.models import DecisionKind, Prescription, User
from clinic.record.dates import day_words
from clinic.record.errors import Refused, words_needed
from clinic.record.writes import audit
from clinic.record.writes.rows import store
from clinic.record.writes.withdrawing import withdraw
from clinic.rules.writes.next_dates import next_date_no_later_than

__all__ = ["opening_correct", "opening_take_back", "sealing_take_back"]

#: What a sealing writes on the device, and what taking it back restores.
SEALING = ("fitted_on", "sealed_on", "open_by", "opened_on", "opened_visit_id")


@transaction.atomic
def opening_take_back(
    *, by: User, prescription: Prescription, reason: str, expected_version: int
) -> Prescription:
    """The device was not opened: its clock runs again, from the day it was sealed."""
    device_allowed(prescription, "unopen")
    opened_on, _ = _opened(prescription)
    why = words_needed(reason, "reason")
    if prescription.stopped_on is not None and prescription.opened_visit_id is None:
        raise Refused("Stopping this device opened it; the opening is not taken back by itself.")
    # A device stopped since was opened by that at the latest.
    prescription.opened_on, prescription.opened_visit = prescription.stopped_on, None
    store(prescription, by=by, expected_version=expected_version, why=f"not opened: {why}"[:100])
    if prescription.open_by is not None and prescription.stays_closed:
        # A date agreed since may lie after the day that counts again.
        until = prescription.open_by
        next_date_no_later_than(
            by=by,
            person=prescription.limb.person,
            open_by=until,
            review_on=until,
            why="an opening was taken back",
        )
    _told(
        by,
        prescription,
        "took back the opening of",
        f"took back that {device_words(prescription)} was opened on {day_words(opened_on)}",
        why,
    )
    return prescription


@transaction.atomic
def opening_correct(
    *, by: User, prescription: Prescription, opened_on: date, reason: str, expected_version: int
) -> Prescription:
    """It was opened on another day."""
    before, sealed_on = _opened(prescription)
    why = words_needed(reason, "reason")
    today, last = timezone.localdate(), prescription.stopped_on
    if opened_on > today or (last is not None and opened_on > last):
        limit = min(today, last or today)
        raise Refused(f"Opened on: {opened_on:%-d %b %Y}; the limit is {limit:%-d %b %Y}.", field="opened_on")
    if opened_on < sealed_on:
        raise Refused(
            f"Opened on: {opened_on:%-d %b %Y} lies before it was sealed, {sealed_on:%-d %b %Y}.",
            field="opened_on",
        )
    if prescription.opened_visit is not None:
        raise Refused(
            f"Opened on: it was opened at the visit of {prescription.opened_visit.visited_on:%-d %b %Y}; "
            "correct the day of the visit, or take the opening back.",
            field="opened_on",
        )
    prescription.opened_on = opened_on
    store(prescription, by=by, expected_version=expected_version, why=why[:100])
    late = sealed_past(prescription.open_by, opened_on)
    _told(
        by,
        prescription,
        "corrected the opening of",
        f"corrected the day {device_words(prescription)} was opened from {day_words(before)} to "
        f"{day_words(opened_on)}{' (late)' if late else ''}",
        why,
    )
    return prescription


@transaction.atomic
def sealing_take_back(
    *, by: User, prescription: Prescription, reason: str, expected_version: int
) -> Prescription:
    """The device was not sealed that day: it stands as it stood before, its fitting is withdrawn."""
    why = words_needed(reason, "reason")
    device_allowed(prescription, "unseal")
    assert prescription.sealed_on is not None  # sealed
    sealed_on = prescription.sealed_on
    for name, value in _before_sealing(prescription).items():
        setattr(prescription, name, value)
    store(prescription, by=by, expected_version=expected_version, why=f"not sealed: {why}"[:100])
    fitting = prescription.fittings.standing().filter(sealed=True, fitted_on=sealed_on).first()
    if fitting is not None:
        withdraw(fitting, by=by, reason=why)
    _told(
        by,
        prescription,
        "took back the sealing of",
        f"took back that {device_words(prescription)} was sealed on {day_words(sealed_on)}",
        why,
    )
    return prescription


def _before_sealing(prescription: Prescription) -> dict[str, Any]:
    """The columns of a sealing as the newest copy without it has them."""
    now = (prescription.sealed_on, prescription.open_by)
    for copy in prescription.history.order_by("-history_id"):
        if (copy.sealed_on, copy.open_by) != now or copy.opened_on is not None:
            return {name: getattr(copy, name) for name in SEALING}
    return dict.fromkeys(SEALING)


def _opened(prescription: Prescription) -> tuple[date, date]:
    """The day it was opened and the day it had been sealed."""
    if prescription.sealed_on is None or prescription.opened_on is None:
        raise Refused("This device is not opened; there is nothing to take back.")
    return prescription.opened_on, prescription.sealed_on


def _told(by: User, prescription: Prescription, verb: str, did: str, why: str) -> None:
    today = timezone.localdate()
    decision_add(
        by=by,
        prescription=prescription,
        kind=DecisionKind.UNDONE,
        on=today,
        sentence=f"On {day_words(today)} {who(by)}, {did}: {why}.",
    )
    person = prescription.limb.person
    audit.record(by=by, site=person.site, verb=verb, target=prescription, person=person, reason=why)
