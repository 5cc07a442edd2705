"""Asking a colleague for a look at a lesion, answering, and having read the answer."""

from __future__ import annotations

from django.db import transaction
from django.utils import timezone

from clinic.lesions.states import question_allowed, ulcer_allowed
from clinic.models import Lesion, Look, User
from clinic.record.errors import Refused, words_needed
from clinic.record.writes import audit
from clinic.record.writes.rows import store
from clinic.record.writes.withdrawing import TAKEN_BACK

__all__ = ["look_answer", "look_ask", "look_read", "look_unread"]


@transaction.atomic
def look_ask(*, by: User, lesion: Lesion, question: str) -> Look:
    """Put a lesion at the top of Review with one sentence."""
    ulcer_allowed(lesion, "ask")
    if not question.strip():
        raise Refused("Question: one sentence is needed.", field="question")
    if before := lesion.looks.order_by("-asked_at", "-pk").first():
        question_allowed(before, "again")
    look = store(Look(lesion=lesion, asked_at=timezone.now(), question=question.strip()), by=by)
    person = lesion.limb.person
    audit.record(by=by, site=person.site, verb="asked for", target=look, person=person, lesion=lesion.pk)
    return look


@transaction.atomic
def look_answer(*, by: User, look: Look, answer: str, expected_version: int) -> Look:
    """Answer; the lesion leaves the top of Review and the answer stands on Today until it is read."""
    question_allowed(look, "answer")
    if not answer.strip():
        raise Refused("Answer: one sentence is needed.", field="answer")
    look.answer, look.answered_at, look.answered_by = answer.strip(), timezone.now(), by
    store(look, by=by, expected_version=expected_version)
    person = look.lesion.limb.person
    audit.record(by=by, site=person.site, verb="answered", target=look, person=person, lesion=look.lesion_id)
    return look


@transaction.atomic
def look_read(*, by: User, look: Look) -> Look:
    """Take a read answer off Today."""
    question_allowed(look, "read")
    if look.read_at is None:
        look.read_at, look.read_by = timezone.now(), by
        store(look, by=by)
        person = look.lesion.limb.person
        audit.record(by=by, site=person.site, verb="read", target=look, person=person, lesion=look.lesion_id)
    return look


@transaction.atomic
def look_unread(*, by: User, look: Look, reason: str, expected_version: int) -> Look:
    """Take back that an answer was read: it stands on Today again."""
    question_allowed(look, "unread")
    why = words_needed(reason, "reason")
    look.read_at = look.read_by = None
    store(look, by=by, expected_version=expected_version, why=f"{TAKEN_BACK}{why}"[:100])
    person = look.lesion.limb.person
    audit.record(by=by, site=person.site, verb="took back reading", target=look, person=person, reason=why)
    return look
