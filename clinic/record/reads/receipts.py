"""What a form stored, by the form's key: for its answer, and for a page that never got the answer."""

from __future__ import annotations

import json
from collections.abc import Iterable
from datetime import datetime
from typing import Any
from uuid import UUID

from django.urls import reverse
from django.utils import timezone

from clinic.models import FormReceipt, LimbPlan, User
from clinic.record.reads.changes import kind_words

__all__ = ["HEADER", "key_of", "receipt_of", "receipts_of", "receipt_words", "receipt_header"]

#: Named in an answer: this form is stored, under this key.
HEADER = "Form-Stored"
#: Most keys that one page asks about: forms typed on one device within a day.
MOST_ASKED = 40
#: Kind of record -> the page that shows it. What has none stands on the person's page.
PAGES = {
    "antibioticcourse": "antibiotic",
    "incomingcall": "call_answer",
    "lesion": "lesion",
    "measuredmap": "measured_map",
    "nonhealingreview": "non_healing",
    "openingcard": "opening_card",
    "person": "person",
    "prescription": "prescription",
    "redflag": "flag_answer",
    "referral": "referral",
    "result": "result",
    "transfer": "transfer",
    "visit": "visit",
}


def key_of(text: str) -> UUID | None:
    """The key a form names, None for anything that is none."""
    try:
        return UUID(text)
    except ValueError:
        return None


def receipt_of(user: User, key: UUID) -> FormReceipt | None:
    """The receipt of one form of this user."""
    return FormReceipt.objects.filter(user=user, key=key).first()


def receipts_of(user: User, keys: Iterable[str]) -> list[FormReceipt]:
    """Receipts of the user's own forms among these keys."""
    wanted = [key for key in map(key_of, list(keys)[:MOST_ASKED]) if key is not None]
    return list(FormReceipt.objects.filter(user=user, key__in=wanted)) if wanted else []


def receipt_words(receipt: FormReceipt) -> dict[str, Any]:
    """A receipt in words a page can show."""
    return {
        "key": str(receipt.key),
        "name": kind_words(receipt.target_kind),
        "url": _page(receipt),
        "version": receipt.version,
        "at": _milliseconds(receipt.at),
    }


def receipt_header(receipt: FormReceipt) -> str:
    """The same on one line of ASCII."""
    return json.dumps(receipt_words(receipt), ensure_ascii=True)


def _milliseconds(at: datetime) -> int:
    return round(timezone.localtime(at).timestamp() * 1000)


def _page(receipt: FormReceipt) -> str:
    page = PAGES.get(receipt.target_kind)
    if page:
        return reverse(page, args=[receipt.target_id])
    if receipt.target_kind == "limbplan":
        plan = LimbPlan.objects.filter(pk=receipt.target_id).values_list("plan__code", flat=True).first()
        if plan:
            return reverse("plan", args=[plan])
    if receipt.person_id is not None:
        return reverse("person", args=[receipt.person_id])
    return reverse("home")
