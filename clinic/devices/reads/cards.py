"""Whether an opening card still stands, and which cards it replaced."""

from __future__ import annotations

from datetime import date

from django.db.models import QuerySet

from clinic.models import OpeningCard
from clinic.record.dates import day_words

__all__ = ["cards_replaced", "void_because"]


def _of_the_limb(card: OpeningCard) -> QuerySet[OpeningCard]:
    return OpeningCard.objects.filter(prescription__limb=card.prescription.limb_id).exclude(pk=card.pk)


def void_because(card: OpeningCard) -> str:
    """Why a card says nothing any more, without a full stop; empty while it stands (one query at most)."""
    newer = _of_the_limb(card).filter(pk__gt=card.pk).order_by("-pk").first()
    device = card.prescription
    if newer is not None:
        return f"a newer card says to open by {day_words(newer.open_by)}"
    if device.stopped_on is not None:
        return f"the device was stopped on {day_words(device.stopped_on)}"
    if device.opened_on is not None and device.opened_on > card.sealed_on:
        return f"the device was opened on {day_words(device.opened_on)}"
    return ""


def cards_replaced(card: OpeningCard) -> list[date]:
    """Days to open by of the older cards of this foot that were given to the person, the newest first."""
    older = _of_the_limb(card).filter(pk__lt=card.pk, handed_at__isnull=False).order_by("-pk")
    return list(older.values_list("open_by", flat=True))
