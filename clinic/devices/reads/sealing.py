"""May a device that stays on be fitted and sealed on this foot on this day, and what is left to ask first?"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from clinic.devices.reads.advice import told_before
from clinic.evidence.reads.facts import WORDS, facts_of_limb
from clinic.evidence.reads.standing import LimbStanding, standing_of
from clinic.guidelines.table import unasked
from clinic.models import Prescription

__all__ = ["OpenQuestion", "SealingGate", "sealing_gate"]

#: Where each question is asked: the page that keeps its answer.
ASKED_AT: dict[str, str] = {
    "mobility": "circumstances",
    "claustrophobia": "circumstances",
    "dvt_suspected": "finding",
    "ulcer_on_same_leg": "finding",
    "ischaemia_settled": "finding",
    "cavity": "visit",
    "over_weight_limit": "prescription",
    "previous_device_not_tolerated": "prescription",
}


@dataclass(frozen=True)
class OpenQuestion:
    """A question nobody has answered, and the page that asks it."""

    name: str
    words: str
    page: str


@dataclass(frozen=True)
class SealingGate:
    """What stands in the way of fitting and sealing, what is unanswered, and what only asks."""

    foot: LimbStanding
    hindered: tuple[str, ...]
    open: tuple[OpenQuestion, ...]
    asks: tuple[str, ...]


def sealing_gate(prescription: Prescription, day: date) -> SealingGate:
    """The gate of one device on one day.

    A new device needs blood and infection settled and a complete clean look of that day at every ulcer. One
    that is worn already is not withdrawn because a perfusion value ran out: that asks.
    """
    limb = prescription.limb
    foot = standing_of(limb, day)
    lesions = list(prescription.lesions.all())
    before = told_before(prescription, lesions)
    found = facts_of_limb(limb, day, before.answers if before else {}, foot)
    names = dict.fromkeys(name for one in found for name in unasked(one.facts))
    worn = prescription.fitted_on is not None
    allowed = foot.worst.running_allowed if worn else foot.worst.non_removable_allowed
    looked = foot.worst.refits_today if worn else foot.worst.fits_today
    hindered: tuple[str, ...] = ()
    if not allowed:
        hindered = foot.worst.withheld_because
    elif not looked:
        hindered = (
            f"A complete look for infection on {day:%-d %b %Y} is missing: device and dressing off, five "
            "signs, probe, depth, fever or unwell, at every ulcer of this foot.",
        )
    asks = foot.worst.ischaemia.doubts if allowed and not foot.worst.non_removable_allowed else ()
    return SealingGate(
        foot,
        hindered,
        tuple(OpenQuestion(name, WORDS[name], ASKED_AT.get(name, "finding")) for name in names),
        asks,
    )
