"""Calls that come in: logged with the red-flag questions, then answered."""

from __future__ import annotations

from collections.abc import Collection

from django.db import transaction
from django.utils import timezone

from clinic.alerts.writes.flags import FlagOutcome, flags_raised
from clinic.alerts.writes.standing import dangers_raise
from clinic.models import CallDone, IncomingCall, Person, User
from clinic.record.errors import Refused
from clinic.record.writes import audit
from clinic.record.writes.rows import store

__all__ = ["call_answer", "call_log"]


@transaction.atomic
def call_log(
    *,
    by: User,
    person: Person,
    about: str,
    words: str,
    caller: str = "",
    red_flags: Collection[str] = (),
    outcome: FlagOutcome | None = None,
    done: str = "",
    done_note: str = "",
) -> IncomingCall:
    """Log a call at the time it is written down; without `done` it stands on Today until answered."""
    if done_note.strip() and not done:
        raise Refused("What was done about the call: nothing chosen, but words are given.", field="done")
    call = IncomingCall(
        person=person, called_at=timezone.now(), caller=caller.strip(), about=about, words=words.strip()
    )
    if done:
        _done(call, by, done, done_note)
    store(call, by=by)
    flags_raised(by=by, person=person, flags=red_flags, outcome=outcome or FlagOutcome(), call=call)
    dangers_raise(by=by, person=person, visit=None, ticked=set(red_flags))
    audit.record(
        by=by,
        site=person.site,
        verb="logged",
        target=call,
        person=person,
        about=about,
        flags=sorted(red_flags),
        done=done,
    )
    return call


@transaction.atomic
def call_answer(
    *, by: User, call: IncomingCall, done: str, done_note: str, expected_version: int
) -> IncomingCall:
    """Record what was done about a call; it then leaves Today."""
    if call.done:
        raise Refused("This call was answered already; nothing was changed.")
    _done(call, by, done, done_note)
    store(call, by=by, expected_version=expected_version)
    audit.record(by=by, site=call.person.site, verb="answered", target=call, person=call.person, done=done)
    return call


def _done(call: IncomingCall, by: User, done: str, note: str) -> None:
    if done not in CallDone.values:
        raise Refused("What was done about the call: nothing chosen.", field="done")
    if not note.strip():
        raise Refused("Say in words what was said or agreed.", field="done_note")
    call.done, call.done_note = done, note.strip()
    call.done_at, call.done_by = timezone.now(), by
