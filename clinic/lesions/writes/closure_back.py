"""Taking back a closure, a confirmation or a reopening that rested on a visit entered in error."""

from __future__ import annotations

from datetime import date

from django.db import transaction

from clinic.lesions.covered import FOUND_OPEN, covered_visit, open_after
from clinic.lesions.states import ulcer_allowed
from clinic.models import Episode, Lesion, LesionState, Person, User, Visit
from clinic.record.errors import Refused, words_needed
from clinic.record.writes import audit
from clinic.record.writes.rows import store

__all__ = ["closed_before", "closure_take_back", "closures_hold", "reopening_take_back", "rests_on"]


def rests_on(lesion: Lesion, day: date) -> bool:
    """Whether the lesion's closing or its confirmation rests on what the visit of a day found."""
    if lesion.state == LesionState.TO_CONFIRM:
        return lesion.closed_on == day
    return lesion.state == LesionState.HEALED and day in (lesion.closed_on, lesion.confirmed_on)


def closures_hold(*, by: User, person: Person, reason: str) -> None:
    """Healed and closed rest on visits that found the lesion covered, with no open area after: what the
    visits of a person say no more is taken back. Call inside the transaction of what changed
    them.
    """
    closed = Lesion.objects.filter(
        limb__person=person, state__in=(LesionState.TO_CONFIRM, LesionState.HEALED)
    )
    for lesion in closed.select_related("limb__person__site", "episode").order_by("pk"):
        assert lesion.closed_on is not None  # closed
        gone = covered_visit(lesion, lesion.closed_on) is None
        if gone or open_after(lesion, lesion.closed_on) is not None:
            closure_take_back(by=by, lesion=lesion, day=lesion.closed_on, reason=reason)
        elif lesion.confirmed_on is not None and covered_visit(lesion, lesion.confirmed_on) is None:
            closure_take_back(by=by, lesion=lesion, day=lesion.confirmed_on, reason=reason)


@transaction.atomic
def closure_take_back(*, by: User, lesion: Lesion, day: date | None, reason: str) -> Lesion:
    """Without the closing visit the lesion is open; without the confirming one it waits to be confirmed."""
    why = words_needed(reason, "reason")
    ulcer_allowed(lesion, "take_back")
    if day is None or not rests_on(lesion, day):
        raise Refused(f"Ulcer {lesion.label} was not closed on that day.")
    closed_then = lesion.closed_on == day
    lesion.state = LesionState.OPEN if closed_then else LesionState.TO_CONFIRM
    lesion.outcome, lesion.confirmed_on, lesion.footwear = "", None, ""
    if closed_then:
        lesion.closed_on = None
    store(lesion, by=by, why=f"closing visit taken back: {why}"[:100])
    episode = lesion.episode
    if episode.ended_on is not None:
        if Episode.objects.filter(person=episode.person_id, ended_on=None).exists():
            raise Refused(
                f"Ulcer {lesion.label} belongs to an episode that ended, and a new one began since: keep "
                "the closing, or settle it with a podiatrist."
            )
        episode.ended_on = None
        store(episode, by=by, why="a closing was taken back")
    person = lesion.limb.person
    audit.record(
        by=by, site=person.site, verb="took back the closing of", target=lesion, person=person, reason=why
    )
    return lesion


def closed_before(lesion: Lesion, day: date | None, *, but: Visit | None = None) -> date | None:
    """The day an open lesion was found closed, where nothing but a visit of that `day` reopened it; `but` is
    that visit while it stands.
    """
    if lesion.state != LesionState.OPEN or day is None or lesion.reopened_on != day:
        return None
    copies = list(lesion.history.order_by("history_id"))  # type: ignore[attr-defined]
    for before, after in reversed(list(zip(copies, copies[1:], strict=False))):
        if after.history_change_reason == FOUND_OPEN and before.state == LesionState.TO_CONFIRM:
            closed_on: date = before.closed_on
            stands = covered_visit(lesion, closed_on) and not open_after(lesion, closed_on, but=but)
            return closed_on if stands else None
    return None


@transaction.atomic
def reopening_take_back(*, by: User, lesion: Lesion, day: date | None, reason: str) -> Lesion:
    """Without the visit that found it open the lesion waits to be confirmed again, from the day it was
    closed.
    """
    why = words_needed(reason, "reason")
    ulcer_allowed(lesion, "close")
    closed_on = closed_before(lesion, day)
    if closed_on is None:
        raise Refused(f"Ulcer {lesion.label} was not reopened on that day, or another visit found it open.")
    lesion.state, lesion.closed_on, lesion.reopened_on = LesionState.TO_CONFIRM, closed_on, None
    store(lesion, by=by, why=f"reopening taken back: {why}"[:100])
    person = lesion.limb.person
    audit.record(
        by=by, site=person.site, verb="took back the reopening of", target=lesion, person=person, reason=why
    )
    return lesion
