"""The sheet a person takes home with a device: plain words only. Common practice, no source, unless said."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from clinic.guidelines.devices import DEVICES
from clinic.guidelines.fitting import WEAR_ADVICE
from clinic.models import Fitting, Prescription, Site

__all__ = ["AdviceSheet", "advice_sheet"]


@dataclass(frozen=True)
class PlainDevice:
    """One kind of device as the person knows it."""

    name: str
    wear: tuple[str, ...]


#: Signs that cannot wait, in the person's words: NICE NG19 (read in pages that quote it); common practice.
CALL = (
    "You feel ill, hot or shivery",
    "The foot or leg turns red, and the redness grows",
    "Toes turn cold, white, blue or black",
    "New pain in the foot, also at night; or the leg hurts in the calf, or swells",
    "You get short of breath or your chest hurts: call the emergency number",
    "A bad smell, or wet coming through",
    "It is too tight, too loose, broken or wet",
    "You fell",
)


@dataclass(frozen=True)
class AdviceSheet:
    device: PlainDevice
    beside: tuple[PlainDevice, ...]
    call: tuple[str, ...]
    stays_on: bool
    open_by: date | None
    review_on: date | None
    watch_points: str
    site: Site
    fitting: Fitting | None


def plain_device(device_class: str) -> PlainDevice:
    """A device class in the person's words, with how it is worn."""
    device = DEVICES[device_class]
    return PlainDevice(device.plain_label, WEAR_ADVICE[device.wear])


def advice_sheet(prescription: Prescription) -> AdviceSheet:
    """What the person is told in writing; one query, for the newest fitting."""
    fitting = prescription.fittings.first()
    sealed = prescription.stays_closed
    return AdviceSheet(
        device=plain_device(prescription.device_class),
        beside=tuple(plain_device(name) for name in prescription.beside),
        call=CALL,
        stays_on=prescription.is_non_removable,
        open_by=prescription.open_by if sealed else None,
        review_on=fitting.review_on if fitting else None,
        watch_points=fitting.watch_points if fitting else "",
        site=prescription.limb.person.site,
        fitting=fitting,
    )
