"""Whether an opening card still stands, and which cards it replaced."""

from __future__ import annotations

from datetime import date

from django.db.models import QuerySet

from clinic.models import OpeningCard, Prescription
from clinic.record.dates import day_words

__all__ = ["cards_given_since", "cards_replaced", "void_because"]


def _of_the_limb(card: OpeningCard) -> QuerySet[OpeningCard]:
    same = OpeningCard.objects.filter(prescription__limb=card.prescription.limb_id).exclude(pk=card.pk)
    return same.select_related("prescription").order_by("-pk")


def _says_otherwise(card: OpeningCard, device: Prescription) -> bool:
    return (card.sealed_on, card.open_by) != (device.sealed_on, device.open_by)


def _of_another_sealing(card: OpeningCard) -> bool:
    """Whether its device is sealed on other days than the card says: it was made after an opening that was
    taken back, for a sealing that did not happen.
    """
    device = card.prescription
    return device.stays_closed and device.stopped_on is None and _says_otherwise(card, device)


def void_because(card: OpeningCard) -> str:
    """Why a card says nothing any more, without a full stop; empty while it stands (one query at most)."""
    device = card.prescription
    made_since = _of_the_limb(card).filter(pk__gt=card.pk)
    newer = next((one for one in made_since if not _of_another_sealing(one)), None)
    if newer is not None:
        return f"a newer card says to open by {day_words(newer.open_by)}"
    if device.stopped_on is not None:
        return f"the device was stopped on {day_words(device.stopped_on)}"
    if device.opened_on is not None and device.opened_on > card.sealed_on:
        return f"the device was opened on {day_words(device.opened_on)}"
    if device.open_by is not None and _of_another_sealing(card):
        return f"the device was not opened, and is to be opened by {day_words(device.open_by)}"
    return ""


def cards_replaced(card: OpeningCard) -> list[date]:
    """Days to open by of the other cards of this foot that were given to the person, the newest first: older
    ones, and those of a sealing that did not happen.
    """
    given = _of_the_limb(card).filter(handed_at__isnull=False)
    return [one.open_by for one in given if one.pk < card.pk or _of_another_sealing(one)]


def cards_given_since(device: Prescription) -> list[date]:
    """Days to open by of cards that the person was given since the device was opened; none while it is not
    (one query at most).
    """
    if device.opened_on is None:
        return []
    cards = device.opening_cards.filter(handed_at__isnull=False, sealed_on__gte=device.opened_on)
    return [one.open_by for one in cards.order_by("pk") if _says_otherwise(one, device)]
