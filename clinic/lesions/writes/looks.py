"""Asking a colleague for a look at a lesion, answering, and having read the answer."""

from __future__ import annotations

from django.db import transaction
from django.utils import timezone

from clinic.models import Lesion, Look, User
from clinic.record.errors import Refused
from clinic.record.writes import audit
from clinic.record.writes.rows import store

__all__ = ["look_answer", "look_ask", "look_read"]


@transaction.atomic
def look_ask(*, by: User, lesion: Lesion, question: str) -> Look:
    """Put a lesion at the top of Review with one sentence."""
    if not lesion.is_open:
        raise Refused(
            f"This lesion is {lesion.get_state_display().lower()}; a look is asked for an open one."
        )
    if not question.strip():
        raise Refused("What to look at: one sentence is needed.", field="question")
    if lesion.looks.filter(answer="").exists():
        raise Refused("Somebody was asked to look at this lesion already; the question stands on Review.")
    look = store(Look(lesion=lesion, asked_at=timezone.now(), question=question.strip()), by=by)
    person = lesion.limb.person
    audit.record(by=by, site=person.site, verb="asked for", target=look, person=person, lesion=lesion.pk)
    return look


@transaction.atomic
def look_answer(*, by: User, look: Look, answer: str, expected_version: int) -> Look:
    """Answer; the lesion leaves the top of Review and the answer stands on Today until it is read."""
    if look.answer:
        raise Refused("This look was answered already; nothing was changed.")
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
    if not look.answer:
        raise Refused("This look has no answer yet.")
    if look.read_at is None:
        look.read_at, look.read_by = timezone.now(), by
        store(look, by=by)
        person = look.lesion.limb.person
        audit.record(by=by, site=person.site, verb="read", target=look, person=person, lesion=look.lesion_id)
    return look
