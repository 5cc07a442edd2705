"""The sheet a person takes home with a device: plain words only. Common practice, no source, unless said."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from clinic.guidelines.devices import DEVICES, WearKind
from clinic.models import Fitting, Prescription, Site

__all__ = ["AdviceSheet", "advice_sheet"]


@dataclass(frozen=True)
class PlainDevice:
    """One kind of device as the person knows it."""

    name: str
    wear: tuple[str, ...]


#: Advice on wearing each kind of device.
WEAR: dict[WearKind, tuple[str, ...]] = {
    "stays_on": (
        "It stays on day and night. It works because it is on at every step.",
        "Do not take it off, cut it or loosen it yourself, unless something in the box above happens.",
        "Keep it dry. Wash with the leg outside the tub, under a sealed bag.",
        "Put nothing down inside it, even if it itches.",
        "Walk as little as you can. Use your stick or frame. Put a shoe of even height on the other foot.",
        "Do not drive with it on.",
    ),
    "comes_off": (
        "Wear it for every step, also at night to the bathroom. It helps only while it is on.",
        "Take it off only to wash, to change the dressing and to sleep, if we said so.",
        "Look inside with your hand before you put it on: nothing may lie in it.",
        "Push the heel right down first, then close the straps from the foot up.",
        "Look at your foot, or have somebody look, every day: new red marks, blisters, wet dressing.",
        "Walk as little as you can. Use your stick or frame. Put a shoe of even height on the other foot.",
    ),
    "felt": (
        "Wear the shoe with the pad for every step. Never walk barefoot or on socks.",
        "The pad flattens within days: come to have it renewed on the day we wrote down.",
        "If the pad slips onto the sore place or gets wet, take it off and call us.",
        "Walk as little as you can.",
    ),
    "spacer": (
        "Keep the skin between the toes dry. Change the piece when it is wet.",
        "Take it out every day, look at the skin of both toes, put it back.",
        "Wear shoes that are wide enough with it in.",
        "If a toe turns red, white or sore, take it out and call us.",
    ),
    "shoe": (
        "Wear only this shoe until we tell you otherwise, also at home.",
        "Feel inside with your hand before you put it on.",
        "Look at the sore place every day.",
    ),
    "heel_float": (
        "The whole calf lies on it; the heel hangs free. A flat hand must pass under the heel.",
        "Use it each time you lie down or put your feet up.",
        "It does nothing while you walk.",
        "Have somebody look at the heel every day.",
    ),
    "rest": (
        "Keep your weight off the foot. Use the aid we gave you for every step.",
        "Sit or lie with the leg up. The heel hangs free; nothing presses on the sore place.",
        "Move your other foot and your knees often. Change how you sit.",
        "Look at both feet every day, or have somebody look.",
    ),
}
#: Signs that cannot wait, in the person's words: NICE NG19 (read in pages that quote it), and common practice.
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
    return PlainDevice(device.plain_label, WEAR[device.wear])


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
