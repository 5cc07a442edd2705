"""What became of a device whose wearer, or whose last open ulcer, is no longer cared for here."""

from __future__ import annotations

from datetime import date

from django.db import transaction
from django.utils import timezone

from clinic.devices.states import device_allowed
from clinic.devices.writes.decisions import decision_add, device_words, who
from clinic.models import (
    OPEN_STATES,
    DecisionKind,
    DeviceLeft,
    LesionState,
    PersonState,
    Prescription,
    StopReason,
    User,
)
from clinic.record.errors import Refused
from clinic.record.writes import audit
from clinic.record.writes.rows import store

__all__ = ["KEPT", "device_keep", "device_leave", "device_not_needed"]

#: Beside the ways a device leaves: worn on by somebody in care.
KEPT = "kept"


def _running(prescription: Prescription, event: str, on: date, field: str) -> None:
    device_allowed(prescription, event)
    first = max(
        day for day in (prescription.prescribed_on, prescription.fitted_on, prescription.sealed_on) if day
    )
    if not first <= on <= timezone.localdate():
        raise Refused(
            f"On: {on:%-d %b %Y}; it must lie between the day {prescription.get_device_class_display()} was "
            f"last put on or prescribed, {first:%-d %b %Y}, and today.",
            field=field,
        )


def _reason(prescription: Prescription) -> StopReason:
    """Healed, where nothing on the foot is open and the person is in care; else care or ulcer ended."""
    limb = prescription.limb
    if limb.person.state != PersonState.IN_CARE or limb.lesions.filter(state__in=OPEN_STATES).exists():
        return StopReason.ENDED
    healed = prescription.lesions.filter(state=LesionState.HEALED).exists()
    return StopReason.HEALED if healed else StopReason.ENDED


@transaction.atomic
def device_leave(
    *, by: User, prescription: Prescription, how: str, on: date, with_whom: str = "", informed: str = ""
) -> Prescription:
    """The device stops here: taken off by somebody, worn on under another team, or nobody knows.

    Only one that was taken off is opened by that. Nobody leaves out of sight in a device: where it is not
    known, or another team has it, somebody is informed and named (design choice).
    """
    _running(prescription, "leave", on, "on")
    if how not in DeviceLeft.values:
        raise Refused("The device: taken off, handed to another team, or not known; one is needed.")
    in_care = prescription.limb.person.state == PersonState.IN_CARE
    if in_care and how != DeviceLeft.TAKEN_OFF:
        raise Refused("The device: of a patient in care it is taken off here, or worn on for a reason.")
    with_whom, informed = with_whom.strip(), informed.strip()
    if how != DeviceLeft.NOT_KNOWN and not with_whom:
        question = "who took it off" if how == DeviceLeft.TAKEN_OFF else "to whom was it handed"
        raise Refused(f"The device: {question}?", field="with_whom")
    if how == DeviceLeft.NOT_KNOWN and not informed:
        raise Refused(
            "The device: nobody knows where it is; who was informed (general practice, family, community "
            "nurse)?",
            field="informed",
        )
    prescription.stopped_on, prescription.stop_reason = on, _reason(prescription)
    prescription.stop_words = str(StopReason(prescription.stop_reason).label)
    prescription.left_how, prescription.left_with, prescription.left_told = how, with_whom, informed
    if how == DeviceLeft.TAKEN_OFF and prescription.stays_closed:
        prescription.opened_on = on
    store(prescription, by=by, why=str(DeviceLeft(how).label).lower())
    words = str(DeviceLeft(how).label)
    named = f" ({with_whom})" if with_whom else ""
    heard = f"; informed: {informed}" if informed else ""
    decision_add(
        by=by,
        prescription=prescription,
        kind=DecisionKind.STOPPED,
        on=on,
        sentence=f"On {on:%-d %b %Y} {who(by)}, ended {device_words(prescription)}: "
        f"{words[0].lower()}{words[1:]}{named}{heard}.",
    )
    person = prescription.limb.person
    audit.record(
        by=by,
        site=person.site,
        verb="ended",
        target=prescription,
        person=person,
        how=how,
        with_whom=with_whom,
        informed=informed,
    )
    return prescription


@transaction.atomic
def device_keep(*, by: User, prescription: Prescription, on: date, because: str) -> Prescription:
    """A removable device is worn on although no ulcer of the foot is open; a sealed one never is."""
    _running(prescription, "keep", on, "on")
    if not because.strip():
        raise Refused("Worn on: say in words why.", field="because")
    if prescription.limb.person.state != PersonState.IN_CARE:
        raise Refused("Worn on: the patient is not in care here; hand the device to another team.")
    prescription.kept_on, prescription.kept_because = on, because.strip()
    store(prescription, by=by, why="worn on without an open ulcer")
    person = prescription.limb.person
    audit.record(
        by=by, site=person.site, verb="kept", target=prescription, person=person, because=because.strip()
    )
    return prescription


def device_not_needed(
    *, by: User, prescription: Prescription | None, choice: str, words: str, on: date
) -> None:
    """What happens to a device whose last ulcer healed; call inside the transaction of the confirmation."""
    if prescription is None:
        raise Refused("The device: none runs on this foot, or another ulcer needs it.", field="device")
    try:
        if choice == KEPT:
            device_keep(by=by, prescription=prescription, on=on, because=words)
        else:
            device_leave(by=by, prescription=prescription, how=choice, on=on, with_whom=words)
    except Refused as refused:
        field = "device_words" if refused.field in ("with_whom", "because") else "device"
        raise Refused(refused.message, field=field) from refused
