"""Which device classes and referrals can an answer name?

``DEVICES`` is the one table of device classes: whatever a class decides, here or on a screen, is read from
its row. Generic trade terms only: a class is a kind of device, never a product.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from clinic.guidelines.marking import gettext_noop

__all__ = [
    "DEVICES",
    "NON_REMOVABLE",
    "REFERRALS",
    "URGENCIES",
    "WITH_INSOLE",
    "Device",
    "FittingKind",
    "Height",
    "Urgency",
    "WearKind",
    "classes_where",
    "most_urgent",
]

Height = Literal["knee_high", "ankle_high", "below_ankle", "none"]
Urgency = Literal["immediate", "one_working_day", "planned"]
#: Lists of fitting steps, and advice on wearing a device that the person takes home; both stand in
#: ``fitting.py``.
FittingKind = Literal["stays_on", "comes_off", "heel", "top_free", "spacer", "footwear", "rest"]
WearKind = Literal["stays_on", "comes_off", "felt", "spacer", "shoe", "heel_float", "rest"]

URGENCIES: tuple[Urgency, ...] = ("immediate", "one_working_day", "planned")


@dataclass(frozen=True, kw_only=True)
class Device:
    """One device class with everything that is decided by class.

    Parameters
    ----------
    id : str
        Stable key, stored with prescriptions.
    label : str
        Trade term for screens and prints.
    short_label : str
        Name that fits beside a line of a chart.
    plain_label : str
        What the person calls it, with its article.
    height : {"knee_high", "ankle_high", "below_ankle", "none"}
        How far up the leg it reaches.
    stays_on : bool
        Whether the wearer cannot take it off. Such a device is sealed, and has a day to open it by.
    prefabricated : bool
        Whether it comes in sizes and so may not fit a large calf or deformity.
    takes_insole : bool
        Whether it has an insole that a relief plan can serve.
    fitting : FittingKind
        Which list of steps is gone through when it goes on.
    wear : WearKind
        Which advice on wearing it the person takes home.
    gains, costs : str
        The trade-off in a few words each.
    """

    id: str
    label: str
    short_label: str
    plain_label: str
    height: Height
    stays_on: bool
    prefabricated: bool
    takes_insole: bool
    fitting: FittingKind
    wear: WearKind
    gains: str
    costs: str

    @property
    def removable(self) -> bool:
        """Whether the wearer can take it off."""
        return not self.stays_on

    @property
    def is_rest(self) -> bool:
        """Whether it is no device on the foot but rest: what is left where nothing else may be chosen."""
        return self.wear == "rest"

    @property
    def moulded_on(self) -> bool:
        """Whether it is a cast: it stays on, and there is no insole in it to cut."""
        return self.stays_on and not self.takes_insole


DEVICES: dict[str, Device] = {
    d.id: d
    for d in (
        Device(
            id="total_contact_cast",
            label="Total contact cast",
            short_label="Cast",
            plain_label=gettext_noop("a cast on the lower leg and foot"),
            height="knee_high",
            stays_on=True,
            prefabricated=False,
            takes_insole=False,
            fitting="stays_on",
            wear="stays_on",
            gains="worn at every step; follows deformity",
            costs="needs a trained hand and weekly changes; the ulcer cannot be looked at between them",
        ),
        Device(
            id="walker_non_removable",
            label="Knee-high walker made non-removable",
            short_label="Walker, non-removable",
            plain_label=gettext_noop("a boot to the knee that stays on"),
            height="knee_high",
            stays_on=True,
            prefabricated=True,
            takes_insole=True,
            fitting="stays_on",
            wear="stays_on",
            gains="worn at every step; quick to fit",
            costs="comes in sizes; the ulcer cannot be looked at until it is opened",
        ),
        Device(
            id="walker_knee_high_removable",
            label="Removable knee-high walker",
            short_label="Walker, comes off",
            plain_label=gettext_noop("a boot to the knee that you can take off"),
            height="knee_high",
            stays_on=False,
            prefabricated=True,
            takes_insole=True,
            fitting="comes_off",
            wear="comes_off",
            gains="can be opened for dressing, washing and sleep",
            costs="helps only while it is worn",
        ),
        Device(
            id="ankle_high_removable",
            label="Removable ankle-high device",
            short_label="Ankle-high",
            plain_label=gettext_noop("a boot to the ankle that you can take off"),
            height="ankle_high",
            stays_on=False,
            prefabricated=True,
            takes_insole=True,
            fitting="comes_off",
            wear="comes_off",
            gains="lighter; ankle stays free",
            costs="relieves the forefoot less than a knee-high device; helps only while it is worn",
        ),
        Device(
            id="felted_foam_with_footwear",
            label="Felted foam with fitting footwear",
            short_label="Felted foam",
            plain_label=gettext_noop("a felt pad round the sore place, in your shoe"),
            height="below_ankle",
            stays_on=False,
            prefabricated=False,
            takes_insole=False,
            fitting="footwear",
            wear="felt",
            gains="can be had anywhere, at once",
            costs="flattens within days and must be renewed; relieves least",
        ),
        Device(
            id="heel_relieving_knee_high",
            label="Removable knee-high device with heel relief",
            short_label="Heel relief",
            plain_label=gettext_noop("a boot that keeps your heel off the ground"),
            height="knee_high",
            stays_on=False,
            prefabricated=False,
            takes_insole=False,
            fitting="heel",
            wear="comes_off",
            gains="takes load off the heel while walking",
            costs="helps only while it is worn",
        ),
        Device(
            id="dorsum_free_device",
            label="Device open over the top of the foot",
            short_label="Open dorsum",
            plain_label=gettext_noop("a shoe that leaves the top of your foot free"),
            height="below_ankle",
            stays_on=False,
            prefabricated=True,
            takes_insole=False,
            fitting="top_free",
            wear="comes_off",
            gains="nothing touches the top of the foot",
            costs="holds the foot less firmly",
        ),
        Device(
            id="toe_spacer",
            label="Toe spacer",
            short_label="Toe spacer",
            plain_label=gettext_noop("a soft piece between your toes"),
            height="none",
            stays_on=False,
            prefabricated=False,
            takes_insole=False,
            fitting="spacer",
            wear="spacer",
            gains="parts two toes that rub",
            costs="can macerate or press on the next toe",
        ),
        Device(
            id="footwear_modification",
            label="Footwear modification",
            short_label="Footwear",
            plain_label=gettext_noop("your shoe, changed so that it no longer rubs"),
            height="below_ankle",
            stays_on=False,
            prefabricated=False,
            takes_insole=True,
            fitting="footwear",
            wear="shoe",
            gains="takes away the rub of the shoe",
            costs="does not relieve the sole",
        ),
        Device(
            id="heel_float_in_bed_and_chair",
            label="Heel floated free in bed and chair",
            short_label="Heel float",
            plain_label=gettext_noop("a support that keeps your heel free in bed and in the chair"),
            height="none",
            stays_on=False,
            prefabricated=False,
            takes_insole=False,
            fitting="heel",
            wear="heel_float",
            gains="no load on the heel at rest",
            costs="does nothing while walking",
        ),
        Device(
            id="rest_and_walking_aid",
            label="Rest and a walking aid",
            short_label="Rest, aid",
            plain_label=gettext_noop("rest, and an aid that keeps your weight off the foot"),
            height="none",
            stays_on=False,
            prefabricated=False,
            takes_insole=False,
            fitting="rest",
            wear="rest",
            gains="needs no device on the foot; begins at once",
            costs="relieves only as far as it is followed",
        ),
        Device(
            id="bed_and_chair_rest",
            label="Rest in bed and chair",
            short_label="Bed and chair",
            plain_label=gettext_noop("rest in bed and in the chair"),
            height="none",
            stays_on=False,
            prefabricated=False,
            takes_insole=False,
            fitting="rest",
            wear="rest",
            gains="takes the load where somebody who does not walk has it",
            costs="loads heel and seat instead; look at both",
        ),
    )
}


def classes_where(holds: Callable[[Device], bool]) -> tuple[str, ...]:
    """Ids of the classes of which something holds, in the order of the table.

    Parameters
    ----------
    holds : callable
        Takes a row of the table.

    Returns
    -------
    tuple of str

    Examples
    --------
    >>> classes_where(lambda d: d.stays_on and d.prefabricated)
    ('walker_non_removable',)
    """
    return tuple(d.id for d in DEVICES.values() if holds(d))


NON_REMOVABLE: frozenset[str] = frozenset(classes_where(lambda d: d.stays_on))
WITH_INSOLE: frozenset[str] = frozenset(classes_where(lambda d: d.takes_insole))

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
