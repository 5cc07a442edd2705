"""What must a paper know about the person who takes a device home? Unknown is ``None``, never "no"."""

from dataclasses import dataclass
from datetime import date
from typing import Literal

from clinic.guidelines.devices import DEVICES, Device
from clinic.guidelines.facts import Mobility
from clinic.guidelines.sites import SITES

__all__ = ["OtherFoot", "PaperDates", "PaperNumbers", "Spot", "Wearer", "spot_of"]

#: Where a sore is, as far as wearing a device differs.
Spot = Literal["heel", "top", "between", "side", "sole"]
OtherFoot = Literal["sound", "ulcerated", "gone"]


def spot_of(place: str) -> Spot:
    """Which of the five spots a place of the foot belongs to.

    Parameters
    ----------
    place : str
        Key of the closed list of sites.

    Returns
    -------
    {"heel", "top", "between", "side", "sole"}

    Raises
    ------
    KeyError
        If the key is not in the list.

    Examples
    --------
    >>> spot_of("heel_posterior"), spot_of("dorsal_toe_2"), spot_of("mth_1")
    ('heel', 'top', 'sole')
    """
    site = SITES[place]
    if site.surface in ("plantar", "posterior") and site.region == "rearfoot":
        return "heel"
    if site.surface == "dorsal":
        return "top"
    if site.surface == "interdigital":
        return "between"
    return "side" if site.surface in ("medial", "lateral") else "sole"


@dataclass(frozen=True, kw_only=True)
class Wearer:
    """One person with one device, as far as the paper differs by it.

    Parameters
    ----------
    device_class : str
    beside : tuple of str
        Device classes worn beside it.
    places : tuple of str
        Sites of the sores on this foot; empty = not known.
    other_foot : {"sound", "ulcerated", "gone"} or None
        The foot on the other side: whether it has a sore, or was amputated above the ankle.
    charcot : bool or None
        Active Charcot joints in this foot; suspected counts as active.
    mobility : str or None
    infected : bool or None
        Whether a sore of this foot is infected, by what was found today.
    """

    device_class: str
    beside: tuple[str, ...] = ()
    places: tuple[str, ...] = ()
    other_foot: OtherFoot | None = None
    charcot: bool | None = None
    mobility: Mobility | None = None
    infected: bool | None = None

    @property
    def device(self) -> Device:
        """Row of the table of device classes."""
        return DEVICES[self.device_class]

    @property
    def spots(self) -> frozenset[Spot]:
        """Spots of the sores on this foot."""
        return frozenset(spot_of(place) for place in self.places)

    @property
    def may_walk(self) -> bool:
        """Whether this person walks, as far as is known: unknown counts as walking."""
        return self.mobility in (None, "walks", "walks_with_aid")


@dataclass(frozen=True, kw_only=True)
class PaperDates:
    """Days a paper carries; none of them may be past on the day it is printed."""

    today: date
    open_by: date | None = None
    next_on: date | None = None
    stopped_on: date | None = None


@dataclass(frozen=True, kw_only=True)
class PaperNumbers:
    """Telephone numbers a paper carries; none of them may be missing."""

    emergency: str
    in_hours: str
    out_of_hours: str
