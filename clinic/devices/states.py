"""The states of a device and of its opening card, from the values of their rows."""

from __future__ import annotations

from datetime import date

from clinic.devices.reads.cards import void_because
from clinic.lifecycle.chart import Allows
from clinic.lifecycle.device import device_state_of
from clinic.lifecycle.opening_card import NONE, card_state_of
from clinic.models import OpeningCard, Prescription
from clinic.record.dates import day_words
from clinic.record.lifecycle import allowed

__all__ = ["card_allowed", "card_for", "card_state", "device_allowed", "device_state"]


def device_state(device: Prescription) -> str:
    return device_state_of(
        stopped=device.stopped_on is not None,
        waits_second=device.waits_for_second,
        waits_confirmation=device.waits_for_confirmation,
        sealed=device.sealed_on is not None,
        opened=device.opened_on is not None,
        fitted=device.fitted_on is not None,
    )


def device_allowed(device: Prescription, event: str, *, field: str | None = None) -> Allows:
    open_by = day_words(device.open_by) if device.open_by else "its day"
    return allowed("device", device_state(device), event, field=field, open_by=open_by)


def card_for(device: Prescription, sealed_on: date) -> OpeningCard | None:
    """The card of a sealing on that day: the one the person holds, else the newest that was made."""
    made = device.opening_cards.filter(sealed_on=sealed_on).order_by("-pk")
    return made.filter(handed_at__isnull=False).first() or made.first()


def card_state(card: OpeningCard | None) -> str:
    if card is None:
        return NONE
    return card_state_of(handed=card.handed_at is not None, void=bool(void_because(card)))


def card_allowed(card: OpeningCard | None, event: str) -> Allows:
    because = void_because(card) if card else ""
    return allowed("opening card", card_state(card), event, because=because)
