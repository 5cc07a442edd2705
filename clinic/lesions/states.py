"""The states of an ulcer and of a question about it, from the values of their rows."""

from __future__ import annotations

from clinic.lifecycle.chart import Allows
from clinic.lifecycle.question import question_state_of
from clinic.lifecycle.ulcer import ulcer_state_of
from clinic.models import Lesion, LesionOutcome, Look
from clinic.record.lifecycle import allowed

__all__ = ["OF_WHO_LEFT", "question_allowed", "question_state", "ulcer_allowed", "ulcer_state"]


#: Endings by the person's leaving, not by anything of the ulcer.
OF_WHO_LEFT = (LesionOutcome.MOVED, LesionOutcome.LOST, LesionOutcome.DIED)


def ulcer_state(lesion: Lesion) -> str:
    return ulcer_state_of(
        lesion.state,
        in_error=lesion.outcome == LesionOutcome.IN_ERROR,
        left=lesion.outcome in OF_WHO_LEFT,
    )


def ulcer_allowed(lesion: Lesion, event: str, *, field: str | None = None) -> Allows:
    return allowed("ulcer", ulcer_state(lesion), event, field=field, label=lesion.label)


def question_state(look: Look) -> str:
    return question_state_of(answered=bool(look.answer), read=look.read_at is not None)


def question_allowed(look: Look, event: str) -> Allows:
    return allowed("question", question_state(look), event)
