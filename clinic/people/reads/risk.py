"""The risk category of a person's feet, from the newest findings on record."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from clinic.guidelines.grading import Risk, risk_category
from clinic.models import (
    Amputation,
    Cause,
    Charcot,
    Deformity,
    Lesion,
    LesionOutcome,
    Limb,
    Person,
    Pulse,
    WoundKind,
)
from clinic.people.reads.limbs import FindingValue, both_limbs, latest_findings

__all__ = ["foot_risk", "risk_words"]

_CATEGORY = {0: "very low", 1: "low", 2: "moderate", 3: "high"}
# Fitridge et al., intersocietal guideline 2023 (Diabetes Metab Res Rev 2024;40(3):e3686): artery disease is
# less likely with an ankle index of 0.9 to 1.3 and a toe index of 0.70 or more. Values from memory.
ANKLE_INDEX, TOE_INDEX_FROM = (0.9, 1.3), 0.7


def _sensation_lost(found: Mapping[str, FindingValue]) -> bool | None:
    # One tested site not felt counts as lost sensation (the cautious reading of the monofilament test).
    return found["monofilament"].value > 0 if "monofilament" in found else None


def _artery_disease(found: Mapping[str, FindingValue], lesions: Iterable[Lesion]) -> bool | None:
    if any(lesion.cause in (Cause.NEUROISCHAEMIC, Cause.ISCHAEMIC) for lesion in lesions):
        return True
    pulses = [found[name].value for name in ("dorsalis_pedis", "posterior_tibial") if name in found]
    ankle = found["ankle_index"].value if "ankle_index" in found else None
    toe = found["toe_index"].value if "toe_index" in found else None
    if Pulse.ABSENT in pulses or (ankle is not None and ankle < ANKLE_INDEX[0]):
        return True
    if toe is not None and toe < TOE_INDEX_FROM:
        return True
    indices_good = ankle is not None and ankle <= ANKLE_INDEX[1] and toe is not None
    return False if indices_good or len(pulses) == 2 else None


def _deformity(found: Mapping[str, FindingValue]) -> bool | None:
    answers = [
        found["deformity"].value != Deformity.NONE if "deformity" in found else None,
        found["charcot"].value != Charcot.NONE if "charcot" in found else None,
        *(
            found[name].value if name in found else None
            for name in ("rigid_deformity", "flexible_toe_deformity")
        ),
    ]
    return True if True in answers else answers[0]


def foot_risk(limb: Limb, found: Sequence[FindingValue], lesions: Sequence[Lesion], person: Person) -> Risk:
    """IWGDF category of one foot; `lesions` are all the person's."""
    by_name = {value.name: value for value in found}
    ours = [lesion for lesion in lesions if lesion.limb_id == limb.pk]
    amputations = (LesionOutcome.MINOR_AMPUTATION, LesionOutcome.MAJOR_AMPUTATION)
    history = by_name.get("previous_ulcer")
    ulcerated = any(lesion.wound_kind == WoundKind.ULCER for lesion in ours)
    return risk_category(
        sensation_lost=_sensation_lost(by_name),
        artery_disease=_artery_disease(by_name, ours),
        deformity=_deformity(by_name),
        past_ulcer=True if ulcerated else (bool(history.value) if history else None),
        amputation=limb.amputation != Amputation.NONE or any(x.outcome in amputations for x in lesions),
        end_stage_renal_disease=person.dialysis,
    )


def risk_words(person: Person) -> str:
    """The worse foot in a few words, for the header; an open ulcer goes before any category (five
    queries).
    """
    lesions = list(Lesion.objects.filter(limb__person=person).select_related("limb"))
    open_feet = sorted(
        {x.limb.side for x in lesions if x.is_open and x.wound_kind == WoundKind.ULCER}, key=str
    )
    if open_feet:
        return f"open ulcer, {' and '.join(open_feet)}"
    limbs = both_limbs(person)
    found = latest_findings(limbs, person.site)
    risks = [foot_risk(limb, found[limb.pk], lesions, person) for limb in limbs]
    if not risks:
        return ""
    low = max(min(risk.possible) for risk in risks)
    high = max(max(risk.possible) for risk in risks)
    if low == high:
        return f"category {high}, {_CATEGORY[high]}"
    if (low, high) == (0, 3):
        return "not known, findings missing"
    return f"category {low} to {high}, findings missing"
