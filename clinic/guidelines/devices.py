"""Which device classes and referrals can an answer name?

Generic trade terms only: a class is a kind of device, never a product.
"""

from dataclasses import dataclass
from typing import Literal

__all__ = [
    "DEVICES",
    "NON_REMOVABLE",
    "REFERRALS",
    "URGENCIES",
    "Device",
    "Height",
    "Urgency",
    "most_urgent",
]

Height = Literal["knee_high", "ankle_high", "below_ankle", "none"]
Urgency = Literal["immediate", "one_working_day", "planned"]

URGENCIES: tuple[Urgency, ...] = ("immediate", "one_working_day", "planned")


@dataclass(frozen=True)
class Device:
    """One device class with the properties the rules and screens speak of.

    Parameters
    ----------
    id : str
        Stable key, stored with prescriptions.
    label : str
        Trade term for screens and prints.
    height : {"knee_high", "ankle_high", "below_ankle", "none"}
        How far up the leg it reaches.
    removable : bool
        Whether the wearer can take it off.
    prefabricated : bool
        Whether it comes in sizes and so may not fit a large calf or deformity.
    gains, costs : str
        The trade-off in a few words each.
    """

    id: str
    label: str
    height: Height
    removable: bool
    prefabricated: bool
    gains: str
    costs: str


DEVICES: dict[str, Device] = {
    d.id: d
    for d in (
        Device(
            "total_contact_cast",
            "Total contact cast",
            "knee_high",
            False,
            False,
            "worn at every step; follows deformity",
            "needs a trained hand and weekly changes; the wound cannot be looked at between them",
        ),
        Device(
            "walker_non_removable",
            "Knee-high walker made non-removable",
            "knee_high",
            False,
            True,
            "worn at every step; quick to fit",
            "comes in sizes; the wound cannot be looked at until it is opened",
        ),
        Device(
            "walker_knee_high_removable",
            "Removable knee-high walker",
            "knee_high",
            True,
            True,
            "can be opened for dressing, washing and sleep",
            "helps only while it is worn",
        ),
        Device(
            "ankle_high_removable",
            "Removable ankle-high device",
            "ankle_high",
            True,
            True,
            "lighter; ankle stays free",
            "relieves the forefoot less than a knee-high device; helps only while it is worn",
        ),
        Device(
            "felted_foam_with_footwear",
            "Felted foam with fitting footwear",
            "below_ankle",
            True,
            False,
            "can be had anywhere, at once",
            "flattens within days and must be renewed; relieves least",
        ),
        Device(
            "heel_relieving_knee_high",
            "Removable knee-high device with heel relief",
            "knee_high",
            True,
            False,
            "takes load off the heel while walking",
            "helps only while it is worn",
        ),
        Device(
            "dorsum_free_device",
            "Device open over the back of the foot",
            "below_ankle",
            True,
            True,
            "nothing touches the top of the foot",
            "holds the foot less firmly",
        ),
        Device(
            "toe_spacer",
            "Toe spacer",
            "none",
            True,
            False,
            "parts two toes that rub",
            "can macerate or press on the next toe",
        ),
        Device(
            "footwear_modification",
            "Footwear modification",
            "below_ankle",
            True,
            False,
            "takes away the rub of the shoe",
            "does not relieve the sole",
        ),
        Device(
            "heel_float_in_bed_and_chair",
            "Heel floated free in bed and chair",
            "none",
            True,
            False,
            "no load on the heel at rest",
            "does nothing while walking",
        ),
    )
}

NON_REMOVABLE: frozenset[str] = frozenset(d.id for d in DEVICES.values() if not d.removable)

REFERRALS: dict[str, str] = {
    "treat_infection_or_ischaemia_first": "Treat the infection or ischaemia first",
    "vascular_assessment": "Vascular assessment",
    "infection_assessment": "Infection assessment",
    "charcot_assessment": "Charcot assessment",
    "flexor_tenotomy": "Discuss flexor tenotomy",
    "surgical_forefoot": "Discuss forefoot surgery",
    "surgical_hallux": "Discuss hallux surgery",
}


def most_urgent(*urgencies: Urgency) -> Urgency:
    """Most pressing of some urgencies.

    Parameters
    ----------
    *urgencies : {"immediate", "one_working_day", "planned"}
        At least one.

    Returns
    -------
    {"immediate", "one_working_day", "planned"}

    Examples
    --------
    >>> most_urgent("planned", "one_working_day")
    'one_working_day'
    """
    return min(urgencies, key=URGENCIES.index)
