"""Signing a device and fitting it, with everything that both ask for."""

from datetime import timedelta
from decimal import Decimal

from django.utils import timezone

from clinic.devices.reads.advice import limb_decision
from clinic.devices.writes import opening_cards, wear
from clinic.devices.writes import prescriptions as writes
from clinic.devices.writes.fittings import FittingFindings, steps_of

TODAY = timezone.localdate


def answers(**changed):
    return {
        "needs_frequent_dressing": False,
        "device_available": True,
        "over_weight_limit": False,
        **changed,
    }


def sign(by, limb, **changed):
    decision = changed.pop("decision", None) or limb_decision(limb, TODAY(), answers())
    given = {
        "device_class": decision.first_offered[0],
        "reason": "What the guidance puts first; she agrees.",
        "seen_digest": decision.digest,
        **changed,
    }
    return writes.prescription_sign(
        by=by, limb=limb, lesions=list(limb.lesions.all()), decision=decision, prescribed_on=TODAY(), **given
    )


def whole_list(made, **changed):
    return FittingFindings(
        **{
            "steps": dict.fromkeys(steps_of(made), "done"),
            "bandage_below_knee_cm": Decimal("4"),
            "watch_points": "shin edge, ankle bones",
            "review_on": TODAY() + timedelta(days=6),
            **changed,
        }
    )


def fit(by, made, *, days=7, sealed=True, **changed):
    if sealed:
        card = opening_cards.card_make(
            by=by, prescription=made, sealed_on=TODAY(), open_by=TODAY() + timedelta(days=days)
        )
        opening_cards.card_hand_over(by=by, card=card)
    return wear.prescription_fit(
        by=by,
        prescription=made,
        fitted_on=TODAY(),
        sealed=sealed,
        open_by=TODAY() + timedelta(days=days) if sealed else None,
        expected_version=made.version,
        found=whole_list(made, **{"review_on": TODAY() + timedelta(days=min(days, 6)), **changed}),
    )
