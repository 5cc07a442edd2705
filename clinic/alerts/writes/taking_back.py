"""Taking back what was just answered: a call, an attempt to reach somebody, a step of a referral, a result
marked as seen. What it took off Today stands there again; the copy of what was entered stays in the history.
"""

from __future__ import annotations

from django.db import transaction

from clinic.alerts.states import referral_state
from clinic.alerts.writes.results import result_stands
from clinic.models import Contact, IncomingCall, Person, Referral, Result, User, VisitState
from clinic.record.errors import Refused, words_needed
from clinic.record.lifecycle import allowed
from clinic.record.reads.last_step import before_last_step
from clinic.record.writes import audit
from clinic.record.writes.rows import store
from clinic.record.writes.withdrawing import TAKEN_BACK, withdraw

__all__ = ["call_answer_take_back", "contact_take_back", "referral_follow_take_back", "result_seen_take_back"]

#: What a follow-up of a referral may change.
FOLLOWED = ("reached_at", "accepted_at", "seen_on", "result", "tried_at", "attempts", "cancelled_because")


@transaction.atomic
def call_answer_take_back(
    *, by: User, call: IncomingCall, reason: str, expected_version: int
) -> IncomingCall:
    """The call waits for an answer again, from when it came in."""
    if not call.done:
        raise Refused("This call is not answered; there is nothing to take back.")
    why = words_needed(reason, "reason")
    call.done = call.done_note = ""
    call.done_at = call.done_by = None
    _store(by, call, why, expected_version, "took back the answer to")
    return call


@transaction.atomic
def contact_take_back(*, by: User, contact: Contact, reason: str, expected_version: int) -> Contact:
    """The attempt counts no more. A next date agreed in it goes back to the one before, unless it was
    changed since.
    """
    withdraw(contact, by=by, reason=reason, expected_version=expected_version)
    date_back = contact.next_on is not None and _date_back(by, contact.person, contact)
    audit.record(
        by=by,
        site=contact.person.site,
        verb="took back",
        target=contact,
        person=contact.person,
        reason=contact.withdrawn_because,
        date_back=date_back,
    )
    return contact


def _date_back(by: User, person: Person, contact: Contact) -> bool:
    later = person.contacts.standing().filter(pk__gt=contact.pk, next_on__isnull=False).order_by("pk").first()
    if later is not None:
        # The later one's date stands; taken back too, it gives back the date before both.
        if later.next_was == contact.next_on:
            later.next_was = contact.next_was
            store(later, by=by, why="the contact before it was taken back")
        return False
    latest = person.visits.filter(state=VisitState.STANDS).order_by("-visited_on", "-pk").first()
    if latest is None or latest.next_on != contact.next_on:
        return False
    latest.next_on = contact.next_was
    store(latest, by=by, why="the contact that agreed its next date was taken back")
    return True


@transaction.atomic
def referral_follow_take_back(
    *, by: User, referral: Referral, reason: str, expected_version: int
) -> Referral:
    """The referral stands as it stood before its last entry."""
    allowed("referral", referral_state(referral), "follow")
    before = before_last_step(referral)
    why = words_needed(reason, "reason")
    for name in FOLLOWED:
        setattr(referral, name, getattr(before, name))
    _store(by, referral, why, expected_version, "took back a step of")
    return referral


@transaction.atomic
def result_seen_take_back(*, by: User, result: Result, reason: str, expected_version: int) -> Result:
    """The result waits to be seen again."""
    result_stands(result)
    if result.seen_on is None:
        raise Refused(f"{result.label}: not marked as seen; there is nothing to take back.")
    why = words_needed(reason, "reason")
    result.seen_on = result.seen_by = None
    result.follows = ""
    _store(by, result, why, expected_version, "took back that it was seen")
    return result


def _store(
    by: User, row: IncomingCall | Referral | Result, why: str, expected_version: int, verb: str
) -> None:
    store(row, by=by, expected_version=expected_version, why=f"{TAKEN_BACK}{why}"[:100])
    audit.record(by=by, site=row.person.site, verb=verb, target=row, person=row.person, reason=why)
