"""The risk category of a person's feet, from the newest findings on record."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import date

from clinic.guidelines.grading import Risk, risk_category
from clinic.models import (
    TRUE_LESIONS,
    Amputation,
    Cause,
    Charcot,
    Deformity,
    Lesion,
    LesionOutcome,
    Limb,
    Person,
    WoundKind,
)
from clinic.people.reads.limbs import FindingValue, FootFindings, both_limbs, latest_findings

__all__ = ["follow_up_months", "foot_risk", "risk_words"]

_CATEGORY = {0: "very low", 1: "low", 2: "moderate", 3: "high"}


def _sensation_lost(found: Mapping[str, FindingValue]) -> bool | None:
    # One tested site not felt counts as lost sensation (the cautious reading of the monofilament test).
    return found["monofilament"].value > 0 if "monofilament" in found else None


def _artery_disease(found: FootFindings, lesions: Iterable[Lesion]) -> bool | None:
    if any(lesion.cause in (Cause.NEUROISCHAEMIC, Cause.ISCHAEMIC) for lesion in lesions):
        return True
    return found.arteries


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


def foot_risk(limb: Limb, found: FootFindings, lesions: Sequence[Lesion], person: Person) -> Risk:
    """IWGDF category of one foot; `lesions` are all the person's."""
    by_name = {value.name: value for value in found}
    ours = [lesion for lesion in lesions if lesion.limb_id == limb.pk]
    amputations = (LesionOutcome.MINOR_AMPUTATION, LesionOutcome.MAJOR_AMPUTATION)
    history = by_name.get("previous_ulcer")
    ulcerated = any(lesion.wound_kind == WoundKind.ULCER for lesion in ours)
    return risk_category(
        sensation_lost=_sensation_lost(by_name),
        artery_disease=_artery_disease(found, ours),
        deformity=_deformity(by_name),
        past_ulcer=True if ulcerated else (bool(history.value) if history else None),
        amputation=limb.amputation != Amputation.NONE or any(x.outcome in amputations for x in lesions),
        end_stage_renal_disease=person.dialysis,
    )


def risk_words(person: Person) -> str:
    """The worse foot in a few words, for the header; an open ulcer goes before any category (five
    queries).
    """
    lesions = list(Lesion.objects.filter(TRUE_LESIONS, limb__person=person).select_related("limb"))
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


def follow_up_months(person: Person, day: date) -> tuple[int, int] | None:
    """Shortest and longest interval of the worse foot's risk category; None where no foot says one."""
    lesions = list(Lesion.objects.filter(limb__person=person).select_related("limb"))
    limbs = both_limbs(person)
    found = latest_findings(limbs, person.site, day)
    intervals = [foot_risk(limb, found[limb.pk], lesions, person).interval_months for limb in limbs]
    return min((one for one in intervals if one is not None), key=lambda one: one[1], default=None)
