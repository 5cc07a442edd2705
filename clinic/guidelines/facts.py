"""What may the device rules look at? The facts of one lesion, each of which may be missing."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import Any, Literal, get_args

from clinic.guidelines.errors import FactsError

__all__ = ["FIRST_GROUP", "OPTIONAL", "Cause", "Facts", "Mobility", "Region", "Surface", "check", "parse"]

Region = Literal["forefoot", "midfoot", "rearfoot", "hallux", "lesser_toe"]
Surface = Literal["plantar", "dorsal", "medial", "lateral", "posterior", "interdigital", "apex"]
Cause = Literal["neuropathic", "neuroischaemic", "ischaemic", "other"]
Mobility = Literal["walks", "walks_with_aid", "transfers_only", "does_not_walk"]

SURGERY_WEEKS_MAX = 520


@dataclass(frozen=True, slots=True)
class Facts:
    """Findings about one lesion, its foot and its person on which a device is chosen.

    ``None`` is a missing fact, never a "no".

    Parameters
    ----------
    region, surface, cause : str or None
        Where the ulcer is and what brought it about.
    infection_grade : int or None
        IWGDF/IDSA grade, 1 (uninfected) to 4 (severe). [-]
    osteomyelitis : bool or None
        Infected bone.
    ischaemia_grade : int or None
        WIfI ischaemia grade, 0 to 3. [-]
    flexible_toe_deformity, large_deformity, rigid_deformity, bulky_calf : bool or None
        Shape of toe, foot and leg.
    high_falls_risk, declines_non_removable, cannot_attend_weekly : bool or None
        The person and a device that stays on.
    needs_frequent_dressing, both_feet_ulcerated, active_charcot : bool or None
        The wound, the other foot and the joints.
    device_available, non_surgical_care_failed : bool or None
        Whether an offloading device can be had; whether good care without surgery has failed.
    mobility : str or None
        Optional.
    heavy_exudate, changing_oedema, fragile_skin, poor_sight : bool or None
        Optional.
    drives_or_job_at_risk, previous_device_not_tolerated : bool or None
        Optional.
    ischaemia_settled : bool or None
        Optional: False where the grade stands in doubt or nothing is known, see
        :mod:`clinic.guidelines.standing`.
    dvt_suspected, cavity, ulcer_on_same_leg, over_weight_limit : bool or None
        Optional: leg vein thrombosis suspected; wound deeper than wide or undermined; another wound or a
        graft where a knee-high device would lie; heavier than the device is made for.
    nobody_to_notice, claustrophobia, material_allergy : bool or None
        Optional: neither the person nor anybody at home would notice trouble; cannot bear to be closed in;
        reacts to a material of the device.
    recent_surgery_weeks : float or None
        Optional: time since surgery on this foot. [weeks]
    """

    region: Region | None = None
    surface: Surface | None = None
    cause: Cause | None = None
    infection_grade: int | None = None
    osteomyelitis: bool | None = None
    ischaemia_grade: int | None = None
    flexible_toe_deformity: bool | None = None
    large_deformity: bool | None = None
    rigid_deformity: bool | None = None
    bulky_calf: bool | None = None
    high_falls_risk: bool | None = None
    declines_non_removable: bool | None = None
    cannot_attend_weekly: bool | None = None
    needs_frequent_dressing: bool | None = None
    both_feet_ulcerated: bool | None = None
    active_charcot: bool | None = None
    device_available: bool | None = None
    non_surgical_care_failed: bool | None = None
    mobility: Mobility | None = None
    heavy_exudate: bool | None = None
    changing_oedema: bool | None = None
    fragile_skin: bool | None = None
    poor_sight: bool | None = None
    drives_or_job_at_risk: bool | None = None
    previous_device_not_tolerated: bool | None = None
    ischaemia_settled: bool | None = None
    dvt_suspected: bool | None = None
    cavity: bool | None = None
    nobody_to_notice: bool | None = None
    claustrophobia: bool | None = None
    ulcer_on_same_leg: bool | None = None
    material_allergy: bool | None = None
    over_weight_limit: bool | None = None
    recent_surgery_weeks: float | None = None


ALL_FIELDS: tuple[str, ...] = tuple(f.name for f in fields(Facts))
FIRST_GROUP: tuple[str, ...] = ALL_FIELDS[: ALL_FIELDS.index("mobility")]
OPTIONAL: tuple[str, ...] = ALL_FIELDS[ALL_FIELDS.index("mobility") :]

CHOICES: dict[str, tuple[str, ...]] = {
    "region": get_args(Region),
    "surface": get_args(Surface),
    "cause": get_args(Cause),
    "mobility": get_args(Mobility),
}
GRADES: dict[str, tuple[int, int]] = {"infection_grade": (1, 4), "ischaemia_grade": (0, 3)}


def _shown(value: object) -> str:
    text = repr(value)
    return text if len(text) <= 40 else text[:37] + "..."


def _fault(name: str, value: object) -> str | None:
    """Sentence on what is wrong with one given value, or None."""
    if value is None:
        return None
    if name in CHOICES:
        if not isinstance(value, str) or value not in CHOICES[name]:
            return f"{name} is {_shown(value)}, must be one of {', '.join(CHOICES[name])}, or null"
        return None
    if name in GRADES:
        low, high = GRADES[name]
        if isinstance(value, bool) or not isinstance(value, int):
            return f"{name} is {_shown(value)}, must be a whole number from {low} to {high}, or null"
        if not low <= value <= high:
            return f"{name} is {_shown(value)}, must lie from {low} to {high}"
        return None
    if name == "recent_surgery_weeks":
        if isinstance(value, bool) or not isinstance(value, int | float):
            return f"{name} is {_shown(value)}, must be a number from 0 to {SURGERY_WEEKS_MAX}, or null"
        if not (math.isfinite(value) and 0 <= value <= SURGERY_WEEKS_MAX):
            return f"{name} is {_shown(value)}, must lie from 0 to {SURGERY_WEEKS_MAX} weeks"
        return None
    if not isinstance(value, bool):
        return f"{name} is {_shown(value)}, must be true, false or null"
    return None


def check(facts: Facts) -> None:
    """Refuse facts that were built with values no rule knows.

    Parameters
    ----------
    facts : Facts

    Raises
    ------
    FactsError
        With all faults together.
    """
    faults = [fault for name in ALL_FIELDS if (fault := _fault(name, getattr(facts, name))) is not None]
    if faults:
        raise FactsError(tuple(faults))


def parse(given: Mapping[str, Any]) -> Facts:
    """Read facts strictly; an absent or null field is a missing fact.

    Parameters
    ----------
    given : mapping
        Field names to values, as read from JSON.

    Returns
    -------
    Facts

    Raises
    ------
    FactsError
        With *all* faults together (unknown field, wrong type, value out of bounds), one sentence each
        that names the field, the value and the limit.

    Examples
    --------
    >>> parse({"region": "forefoot", "infection_grade": 1}).infection_grade
    1
    >>> parse({"infection_grade": 5})
    Traceback (most recent call last):
        ...
    clinic.guidelines.errors.FactsError: infection_grade is 5, must lie from 1 to 4
    """
    if not isinstance(given, Mapping):
        raise FactsError((f"the facts are {_shown(given)}, must be one JSON object of named facts",))
    faults: list[str] = []
    for name, value in given.items():
        if name not in ALL_FIELDS:
            faults.append(
                f"{_shown(name)} is no finding the rules know (given {_shown(value)}); "
                f"allowed are {', '.join(ALL_FIELDS)}"
            )
        elif (fault := _fault(name, value)) is not None:
            faults.append(fault)
    if faults:
        raise FactsError(tuple(faults))
    return Facts(**given)
