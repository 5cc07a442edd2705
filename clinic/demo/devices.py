"""The devices of an invented person: prescribed on the facts of the day, fitted, sealed again, stopped."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

from clinic.devices.reads.advice import limb_decision
from clinic.devices.reads.sealing import sealing_gate
from clinic.devices.writes import opening_cards, prescriptions, wear
from clinic.devices.writes.fittings import FittingFindings, steps_of
from clinic.guidelines.bone import BoneParts
from clinic.lesions.writes.bone import bone_judge
from clinic.models import OPEN_STATES, BoneJudgement, Lesion, Limb, Person, Prescription, User

__all__ = ["ADVISED", "fit_what_is_due", "prescribe", "stop_if_over"]


#: In a story: what the advice of the day puts first.
ADVISED = ""


def prescribe(limb: Limb, lesions: list[Lesion], chosen: dict[str, Any], day: date, *, by: User) -> None:
    """Sign the story's choice, as a departure with its code where the advice puts something else first."""
    for lesion in lesions:
        if not BoneJudgement.objects.filter(lesion=lesion, judged_on=day).exists():
            bone_judge(by=by, lesion=lesion, judged_on=day, parts=BoneParts(probe="against"), state="no")
    answers = {"needs_frequent_dressing": False, "device_available": True, "over_weight_limit": False}
    decision = limb_decision(limb, day, answers)
    if decision is None:
        return
    device = chosen["device"] or decision.first_offered[0]
    first = device in decision.first_offered
    prescriptions.prescription_sign(
        by=by,
        limb=limb,
        lesions=[one.lesion for one in decision.facts],
        decision=decision,
        seen_digest=decision.digest,
        device_class=device,
        reason=chosen["reason"],
        departure_reason="" if first else chosen.get("departure", "other"),
        prescribed_on=day,
        stop_reason=chosen.get("stop", ""),
    )


def fit_what_is_due(person: Person, day: date, *, by: User, ask: Callable[[], None]) -> None:
    """Fit what is new; seal again what was opened at the visit. Where the foot may not be closed in, it is
    looked at anew, and the device comes off where that changes nothing.
    """
    running = Prescription.objects.select_related("limb__person__site")
    for device in running.filter(limb__person=person, stopped_on=None):
        seals = device.is_non_removable and (device.sealed_on is None or device.opened_on is not None)
        if seals or (device.fitted_on is None and not device.is_non_removable):
            if seals and _hindered(device, day):
                ask()
                if _hindered(device, day):
                    wear.prescription_stop(
                        by=by,
                        prescription=device,
                        stopped_on=day,
                        stop_reason="infection",
                        expected_version=device.version,
                    )
                    continue
            if seals:
                card = opening_cards.card_make(
                    by=by, prescription=device, sealed_on=day, open_by=day + timedelta(days=7)
                )
                opening_cards.card_hand_over(by=by, card=card)
            wear.prescription_fit(
                by=by,
                prescription=device,
                fitted_on=day,
                sealed=seals,
                open_by=day + timedelta(days=7) if seals else None,
                expected_version=device.version,
                found=_by_the_list(device, day),
            )


def _hindered(device: Prescription, day: date) -> bool:
    gate = sealing_gate(device, day)
    return bool(gate.hindered or gate.open)


def _by_the_list(device: Prescription, day: date) -> FittingFindings:
    """Every step of the list done, as an invented clinic does it."""
    return FittingFindings(
        steps=dict.fromkeys(steps_of(device), "done"),
        bandage_below_knee_cm=Decimal(4) if device.is_non_removable else None,
        watch_points="shin edge, ankle bones, little toe",
        review_on=day + timedelta(days=7),
    )


def stop_if_over(lesion: Lesion, day: date, *, by: User) -> None:
    """The device comes off for good once nothing on its limb is open or waits for confirmation."""
    still = lesion.limb.lesions.filter(state__in=OPEN_STATES).exists()
    device = Prescription.objects.filter(limb=lesion.limb, stopped_on=None).first()
    if device is not None and not still:
        wear.prescription_stop(
            by=by,
            prescription=device,
            stopped_on=day,
            stop_reason="healed",
            expected_version=device.version,
        )
