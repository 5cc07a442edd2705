"""A record handed to another clinic: asked by the one, accepted by the other, sent back while nothing was
written.

Until it is accepted nothing moves. Then everything moves, open clocks and flags included, but for one thing:
what was decided before goes on counting for the clinic that decided it.
"""

from __future__ import annotations

from typing import Any

from django.db import transaction
from django.utils import timezone
from django.utils.formats import date_format

from clinic.models import (
    Episode,
    Lesion,
    Person,
    Prescription,
    Site,
    Transfer,
    TransferState,
    User,
    Visit,
)
from clinic.people.states import transfer_allowed
from clinic.record.errors import Refused, words_needed
from clinic.record.lifecycle import person_allowed
from clinic.record.reads.person_rows import ABOUT_RECORDS, nouns_of
from clinic.record.writes import audit
from clinic.record.writes.ledger import Ledger, put_back
from clinic.record.writes.rows import restrict, store

__all__ = [
    "transfer_accept",
    "transfer_ask",
    "transfer_decline",
    "transfer_seen",
    "transfer_undo",
    "transfer_withdraw",
]

#: Nouns of the audit, each with its query path to the person: they keep the clinic they count for.
COUNTED: tuple[tuple[Any, str], ...] = (
    (Episode, "person"),
    (Lesion, "limb__person"),
    (Visit, "person"),
    (Prescription, "limb__person"),
)


def _tell(*, by: User, transfer: Transfer, verb: str, **detail: object) -> None:
    """One row in the chain of each clinic, always in one order: chains are locked as they are written."""
    for site in sorted((transfer.from_site, transfer.to_site), key=lambda one: one.pk):
        audit.record(
            by=by,
            site=site,
            verb=verb,
            target=transfer,
            person=transfer.person,
            from_site=transfer.from_site.short_name,
            to_site=transfer.to_site.short_name,
            **detail,  # type: ignore[arg-type]
        )


def _locked(transfer: Transfer) -> Transfer:
    rows = Transfer.objects.select_for_update(of=("self",))
    return rows.select_related("person__site", "from_site", "to_site").get(pk=transfer.pk)


def _may(transfer: Transfer, event: str, site: Site, by: User, who: str) -> None:
    transfer_allowed(transfer, event)
    if site.pk not in by.site_ids:
        raise Refused(f"Only somebody of {site.name} can {who} it.")


@transaction.atomic
def transfer_ask(*, by: User, person: Person, to_site: Site, because: str) -> Transfer:
    """Ask another clinic to take the person over. Nothing moves, everything goes on here."""
    because = words_needed(because, "because")
    person_allowed(person, "hand_over")
    if to_site.pk == person.site_id:
        raise Refused("The record is at this clinic already.", field="to_site")
    if person.transfers.filter(state=TransferState.ASKED).exists():
        raise Refused("A transfer of this patient awaits an answer already.")
    transfer = store(
        Transfer(
            person=person,
            from_site=person.site,
            to_site=to_site,
            because=because,
            asked_at=timezone.now(),
            record_number=person.record_number,
        ),
        by=by,
    )
    audit.record(
        by=by,
        site=person.site,
        verb="asked to transfer",
        target=transfer,
        person=person,
        to_site=to_site.short_name,
        because=because,
    )
    return transfer


@transaction.atomic
def transfer_withdraw(*, by: User, transfer: Transfer) -> Transfer:
    transfer = _locked(transfer)
    _may(transfer, "withdraw", transfer.from_site, by, "withdraw")
    transfer.state, transfer.answered_at, transfer.answered_by = TransferState.WITHDRAWN, timezone.now(), by
    store(transfer, by=by)
    audit.record(
        by=by,
        site=transfer.from_site,
        verb="withdrew the transfer of",
        target=transfer,
        person=transfer.person,
    )
    return transfer


@transaction.atomic
def transfer_decline(*, by: User, transfer: Transfer, note: str) -> Transfer:
    """The other clinic does not take the person over; the first one reads why."""
    transfer = _locked(transfer)
    note = words_needed(note, "note")
    _may(transfer, "decline", transfer.to_site, by, "answer")
    transfer.state, transfer.answer_note = TransferState.DECLINED, note
    transfer.answered_at, transfer.answered_by = timezone.now(), by
    store(transfer, by=by)
    _tell(by=by, transfer=transfer, verb="declined the transfer of", note=note)
    return transfer


def _number_free(site: Site, number: str, person: Person, field: str | None) -> None:
    if Person.objects.filter(site=site, record_number=number).exclude(pk=person.pk).exists():
        raise Refused(f"Record number {number} belongs to another record of {site.name}.", field=field)


@transaction.atomic
def transfer_accept(*, by: User, transfer: Transfer, record_number: str) -> Transfer:
    """Take the person over, under a record number of this clinic."""
    transfer = _locked(transfer)
    _may(transfer, "accept", transfer.to_site, by, "answer")
    number = words_needed(record_number, "record_number")
    person = Person.objects.select_for_update(of=("self",)).select_related("site").get(pk=transfer.person_id)
    person_allowed(person, "take_over")
    if person.site_id != transfer.from_site_id:
        raise Refused("The patient is no longer in care at the clinic that asked: nothing was moved.")
    _number_free(transfer.to_site, number, person, "record_number")
    ledger = Ledger(by=by, why=f"transferred from {transfer.from_site.short_name}"[:100])
    for model, path in COUNTED:
        for row in model._default_manager.filter(**{path: person.pk}, counts_for=None).order_by("pk"):
            ledger.write(row, moved=True, counts_for_id=transfer.from_site_id)
    for merged in Person.objects.filter(merged_into=person).order_by("pk"):
        ledger.write(merged, moved=True, site_id=transfer.to_site_id)
    ledger.write(person, moved=True, site_id=transfer.to_site_id, record_number=number)
    transfer.person = person
    transfer.state, transfer.changes = TransferState.ACCEPTED, ledger.changes
    transfer.answered_at, transfer.answered_by = timezone.now(), by
    store(transfer, by=by)
    _tell(by=by, transfer=transfer, verb="accepted the transfer of", number_here=number, rows=ledger.counts())
    return transfer


def _written_since(transfer: Transfer) -> str:
    """The first thing written at the record after it was taken over, in words."""
    person = transfer.person
    later = {"history_date__gt": transfer.answered_at}
    if person.history.filter(**later).exists():  # type: ignore[attr-defined]
        return "The patient's own fields were corrected"
    for model, path in nouns_of():
        if model in ABOUT_RECORDS:
            continue
        mine = model._default_manager.filter(**{path: person.pk}).values("pk")
        copy = model.history.filter(id__in=mine, **later).order_by("history_id").first()
        if copy is not None:
            return (
                f"A {model._meta.verbose_name} was written on "
                f"{date_format(timezone.localtime(copy.history_date))}"
            )
    return ""


@transaction.atomic
def transfer_undo(*, by: User, transfer: Transfer, because: str) -> Transfer:
    """Send the record back as it came; once anything was written here it takes a transfer of its own."""
    transfer = _locked(transfer)
    because = words_needed(because, "because")
    _may(transfer, "send_back", transfer.to_site, by, "send back")
    person = Person.objects.select_for_update(of=("self",)).get(pk=transfer.person_id)
    if person.site_id != transfer.to_site_id or person.merged_into_id:
        raise Refused("The record went on since: it can no longer be sent back.")
    if person.restricted_on:
        raise Refused("The record is restricted by law: nothing is moved until the restriction is lifted.")
    if since := _written_since(transfer):
        raise Refused(f"{since} here since it was taken over: ask for a transfer back instead.")
    _number_free(transfer.from_site, transfer.record_number, person, None)
    put_back(transfer.changes, by=by, why="transfer sent back")
    transfer.person.refresh_from_db()
    transfer.state, transfer.undone_because = TransferState.UNDONE, because
    transfer.undone_at, transfer.undone_by = timezone.now(), by
    transfer.answer_seen_at = transfer.answer_seen_by = None
    store(transfer, by=by)
    _tell(by=by, transfer=transfer, verb="sent back", because=because)
    return transfer


@transaction.atomic
def transfer_seen(*, by: User, transfer: Transfer) -> Transfer:
    """Take an answer off the asking clinic's Today."""
    transfer = _locked(transfer)
    if transfer.from_site_id not in by.site_ids:
        raise Refused(f"Only somebody of {transfer.from_site.name}, which asked, marks the answer as seen.")
    transfer_allowed(transfer, "see")
    if transfer.answer_seen_at is None:
        transfer.answer_seen_at, transfer.answer_seen_by = timezone.now(), by
        # The row is about the asking clinic; whatever the record's clinic has restricted stays untouched.
        with restrict.lifted():
            store(transfer, by=by)
        audit.record(
            by=by,
            site=transfer.from_site,
            verb="saw the answer to",
            target=transfer,
            person=transfer.person,
            state=transfer.state,
        )
    return transfer
