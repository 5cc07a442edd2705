"""Transfers of a clinic: what it asked, what it was asked, and what would travel."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from django.db.models import Q

from clinic.models import (
    Person,
    Site,
    Transfer,
    TransferState,
)

__all__ = [
    "TransferLists",
    "answers_unseen",
    "asked_for",
    "handed_over_as",
    "transfer_lists",
    "waiting_here",
]

SHOWN = 50


@dataclass(frozen=True)
class TransferLists:
    """Waiting for this clinic's answer, waiting for another's, and what was answered lately."""

    incoming: Sequence[Transfer]
    outgoing: Sequence[Transfer]
    answered: Sequence[Transfer]


def transfer_lists(site: Site) -> TransferLists:
    """Two queries, whatever the number."""
    rows = Transfer.objects.filter(Q(from_site=site) | Q(to_site=site)).select_related(
        "person", "from_site", "to_site", "created_by", "answered_by"
    )
    waiting = list(rows.filter(state=TransferState.ASKED).order_by("asked_at", "pk"))
    return TransferLists(
        incoming=[row for row in waiting if row.to_site_id == site.pk],
        outgoing=[row for row in waiting if row.from_site_id == site.pk],
        answered=list(rows.exclude(state=TransferState.ASKED).order_by("-answered_at", "-pk")[:SHOWN]),
    )


def waiting_here(site: Site) -> int:
    """Transfers that wait for this clinic's answer."""
    return Transfer.objects.filter(to_site=site, state=TransferState.ASKED).count()


def asked_for(person: Person) -> Transfer | None:
    """The transfer of a person that waits for its answer."""
    return Transfer.objects.filter(person=person, state=TransferState.ASKED).select_related("to_site").first()


def answers_unseen(site: Site) -> list[Transfer]:
    """Answers to what this clinic asked, until somebody here has seen them; the record may be elsewhere now,
    so that only its number here names it.
    """
    answered = (TransferState.ACCEPTED, TransferState.DECLINED, TransferState.UNDONE)
    rows = Transfer.objects.filter(from_site=site, state__in=answered, answer_seen_at=None)
    return list(rows.select_related("to_site").defer("changes").order_by("answered_at", "pk"))


def handed_over_as(site: Site, number: str) -> Transfer | None:
    """The transfer by which the holder of this very number left the clinic: the number leads to the new
    clinic's name and to nothing else of the person.
    """
    wanted = number.strip()
    if not wanted:
        return None
    rows = Transfer.objects.filter(from_site=site, state=TransferState.ACCEPTED, record_number__iexact=wanted)
    newest = rows.exclude(person__site=site).select_related("to_site").defer("changes")
    return newest.order_by("-answered_at", "-pk").first()
