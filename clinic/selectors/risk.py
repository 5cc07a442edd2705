"""The risk category of a person's feet, from the newest findings on record."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from clinic.guidelines.grading import Risk, risk_category
from clinic.models import Amputation, Cause, Charcot, Deformity, Lesion, LesionState, Limb, Person, Pulse, WoundKind

from .limbs import FindingValue, both_limbs, latest_findings

__all__ = ["foot_risk", "risk_words"]

_CATEGORY = {0: "very low", 1: "low", 2: "moderate", 3: "high"}
# Fitridge 2023 (intersocietal guideline): artery disease is less likely at an ankle index of 0.9 to 1.3 and a toe
# index of 0.70 or more.
ANKLE_INDEX_LOW, ANKLE_INDEX_HIGH, TOE_INDEX_LOW = 0.9, 1.3, 0.7


def _sensation_lost(found: Mapping[str, FindingValue], limb_rows: Mapping[str, str]) -> bool | None:
    words = limb_rows.get("monofilament")
    if words is None:
        return None
    felt, tested = words.split(" of ")[0], words.split(" of ")[1].split()[0]
    return int(felt) < int(tested)
