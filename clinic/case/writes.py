"""Keeping a sheet "Why is it not healing?": every cause ends done, to do, or not needed because."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date

from django.db import transaction

from clinic.models import (
    Event,
    EventKind,
    Inquiry,
    InquiryAnswer,
    InquiryOutcome,
    InquiryTopic,
    Lesion,
    LesionState,
    User,
)
from clinic.record.errors import Refused
from clinic.record.writes import audit
from clinic.record.writes.rows import store

__all__ = ["CauseFound", "inquiry_make"]


@dataclass(frozen=True)
class CauseFound:
    """How one cause ends; `facts` are the sentences that stood beside it."""

    outcome: str
    words: str
    facts: Sequence[str] = field(default_factory=tuple)


@transaction.atomic
def inquiry_make(
    *, by: User, lesion: Lesion, made_on: date, verdict: str, causes: Mapping[str, CauseFound]
) -> Inquiry:
    """Keep the whole sheet; each thing to do also stands on the curve as a decision of that day."""
    if lesion.state != LesionState.OPEN:
        raise Refused(f"This lesion is {lesion.get_state_display().lower()}; the sheet is for an open one.")
    for topic in InquiryTopic:
        cause = causes.get(topic)
        if cause is None or cause.outcome not in InquiryOutcome.values:
            raise Refused(
                f"{topic.label}: done, to do, or not needed; one is needed.", field=f"{topic}_outcome"
            )
        if not cause.words.strip():
            raise Refused(
                f"{topic.label}: say in words what was done, what to do, or why it is not needed.",
                field=f"{topic}_words",
            )
    inquiry = store(Inquiry(lesion=lesion, made_on=made_on, verdict=verdict), by=by)
    for topic in InquiryTopic:
        cause = causes[topic]
        store(
            InquiryAnswer(
                inquiry=inquiry,
                topic=topic,
                outcome=cause.outcome,
                words=cause.words.strip(),
                facts=list(cause.facts),
            ),
            by=by,
        )
        if cause.outcome == InquiryOutcome.DO:
            note = f"{topic.label}: {cause.words.strip()}"
            decided = Event(
                limb=lesion.limb, lesion=lesion, kind=EventKind.DECISION, happened_on=made_on, note=note
            )
            store(decided, by=by)
    person = lesion.limb.person
    to_do = [topic for topic in InquiryTopic if causes[topic].outcome == InquiryOutcome.DO]
    audit.record(by=by, site=person.site, verb="asked why", target=inquiry, person=person, to_do=to_do)
    return inquiry
