"""The sheet and the card of one person, composed from facts; or why there is none yet, in sentences."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from clinic.guidelines.devices import DEVICES
from clinic.guidelines.emergency import EMERGENCY_SIGNS
from clinic.guidelines.wearer import PaperDates, PaperNumbers, Wearer
from clinic.record.dates import day_words

from . import sentences
from .signs import CALL_SIGNS, EMERGENCY_SIGNS_TOLD, HELPERS_ONLY, IF_NO_ANSWER, NO_CUTTING

__all__ = ["Handout", "Part", "after_the_signs", "compose", "emergency_signs", "paper_faults", "plain_name"]


@dataclass(frozen=True)
class Part:
    """One heading with its sentences; `picture` is the name of a drawing of ours, or empty."""

    id: str
    heading: Promise
    lines: tuple[Promise, ...]
    picture: str = ""


@dataclass(frozen=True)
class Handout:
    """Everything the sheet says, in its order: the ambulance, whom to call, then the rest."""

    name: Promise
    emergency: tuple[Promise, ...]
    call: tuple[Promise, ...]
    after_call: tuple[Promise, ...]
    reasons: tuple[Part, ...]
    parts: tuple[Part, ...]

    @property
    def sentences(self) -> tuple[Promise, ...]:
        """Every sentence of it, one after the other."""
        parts = [line for part in (*self.reasons, *self.parts) for line in part.lines]
        return (*self.emergency, *self.call, *self.after_call, *parts)


def plain_name(device_class: str) -> Promise:
    """A device class in the person's words."""
    return _(DEVICES[device_class].plain_label)


def emergency_signs() -> tuple[Promise, ...]:
    """Signs for the ambulance, in the order of the one list."""
    return tuple(words for sign in EMERGENCY_SIGNS for words in EMERGENCY_SIGNS_TOLD[sign.id])


def after_the_signs(stays_on: bool) -> tuple[Promise, ...]:
    """What sheet and card say under the signs."""
    if stays_on:
        return (HELPERS_ONLY, NO_CUTTING, IF_NO_ANSWER)
    return (_("Keep your weight off the foot until we have spoken."), IF_NO_ANSWER)


def compose(who: Wearer) -> Handout:
    """The sheet for one person.

    Parameters
    ----------
    who : Wearer

    Returns
    -------
    Handout
    """
    device = who.device
    wear = [*sentences.WEAR[device.wear](who), *sentences.moving(who), *sentences.other_foot(who)]
    picture = "no_scissors" if device.stays_on else "straps" if device.wear == "comes_off" else ""
    parts = [Part("wear", _("How to use it"), tuple(wear), picture)]
    for name in who.beside:
        aid = Wearer(
            device_class=name,
            places=who.places,
            other_foot=who.other_foot,
            charcot=who.charcot,
            mobility=who.mobility,
        )
        parts.append(Part(f"beside_{name}", plain_name(name), tuple(sentences.WEAR[aid.device.wear](aid))))
    parts += [
        Part("look", _("Look each day"), tuple(sentences.looking(who)), "look"),
        Part("daily", _("Day to day"), tuple(sentences.day_to_day(who))),
    ]
    reasons = [Part("why", _("Why this matters"), tuple(sentences.why(who)))]
    # Beside the signs there is room for one more part, or for how a device that stays on is opened.
    (parts if device.stays_on else reasons).append(
        Part("sore", _("What the sore needs"), tuple(sentences.the_sore(who)))
    )
    return Handout(
        name=plain_name(who.device_class),
        emergency=emergency_signs(),
        call=CALL_SIGNS,
        after_call=after_the_signs(device.stays_on),
        reasons=tuple(reasons),
        parts=tuple(parts),
    )


def _past(words: str, day: date | None, today: date, remedy: str) -> str | None:
    if day is None or day >= today:
        return None
    return f"{words}: {day_words(day)} is past. {remedy}"


def paper_faults(dates: PaperDates, numbers: PaperNumbers) -> tuple[str, ...]:
    """Why no paper is printed now, one sentence each for the staff; empty when nothing speaks against it.

    Parameters
    ----------
    dates : PaperDates
    numbers : PaperNumbers

    Returns
    -------
    tuple of str
    """
    lacking = [
        words
        for words, number in (
            ("the national emergency number", numbers.emergency),
            ("at once, in hours", numbers.in_hours),
            ("at once, out of hours", numbers.out_of_hours),
        )
        if not number.strip()
    ]
    reasons = [
        f"Device: stopped on {day_words(dates.stopped_on)}; nobody takes its paper home."
        if dates.stopped_on
        else None,
        _past(
            "Must be opened by",
            dates.open_by,
            dates.today,
            "Open it first; the next sealing has its own day.",
        ),
        _past("Next visit", dates.next_on, dates.today, "Agree on a new day with the patient first."),
        f"Telephone: {', '.join(lacking)} missing in the house rules. A manager enters what is missing."
        if lacking
        else None,
    ]
    return tuple(one for one in reasons if one)
