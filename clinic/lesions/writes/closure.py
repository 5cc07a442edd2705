"""Closing a lesion: covered and dry, confirmed healed at a later visit, opened again, or ended otherwise."""

from __future__ import annotations

from datetime import date

from django.db import transaction

from clinic.guidelines.due import confirmable_from, reopens_until
from clinic.lesions.covered import covered_visit, open_after
from clinic.models import OPEN_STATES, Lesion, LesionOutcome, LesionState, User, Visit
from clinic.record.errors import Refused
from clinic.record.writes import audit
from clinic.record.writes.rows import store

__all__ = ["lesion_close", "lesion_confirm", "lesion_end", "lesion_reopen"]


def _end_episode_if_over(lesion: Lesion, *, by: User, on: date) -> None:
    """An episode is open until all its lesions have ended."""
    episode = lesion.episode
    still = episode.lesions.filter(state__in=OPEN_STATES)
    if episode.ended_on is None and not still.exists():
        episode.ended_on = on
        store(episode, by=by, why="all lesions have ended")


def _seen_covered(lesion: Lesion, day: date, *, field: str) -> Visit:
    """The visit of that day that found the lesion covered and dry; a closure rests on nothing else."""
    visit = covered_visit(lesion, day)
    if visit is None:
        raise Refused(
            f"No visit of {day:%-d %b %Y} found this lesion covered and dry. Log the visit first, with "
            "“fully covered and dry” ticked.",
            field=field,
        )
    return visit


def _not_open_after(lesion: Lesion, day: date, *, field: str) -> None:
    """Refuse a closure that a later finding contradicts."""
    found = open_after(lesion, day)
    if found is not None:
        raise Refused(
            f"The visit of {found.visit.visited_on:%-d %b %Y} found an open area of "
            f"{found.area_cm2 or 0:.2f} cm², after {day:%-d %b %Y}.",
            field=field,
        )


@transaction.atomic
def lesion_close(*, by: User, lesion: Lesion, closed_on: date, expected_version: int) -> Lesion:
    """Found covered and dry at a visit: closed, to be confirmed at a later one. The device stays on."""
    if lesion.state != LesionState.OPEN:
        raise Refused(f"This lesion is {lesion.get_state_display().lower()}; only an open one can be closed.")
    if closed_on < lesion.first_seen_on:
        raise Refused(
            f"Covered and dry on: {closed_on:%-d %b %Y} lies before the lesion was first seen, "
            f"{lesion.first_seen_on:%-d %b %Y}.",
            field="closed_on",
        )
    _seen_covered(lesion, closed_on, field="closed_on")
    _not_open_after(lesion, closed_on, field="closed_on")
    lesion.state, lesion.closed_on = LesionState.TO_CONFIRM, closed_on
    store(lesion, by=by, expected_version=expected_version)
    person = lesion.limb.person
    audit.record(by=by, site=person.site, verb="closed", target=lesion, person=person, closed_on=closed_on)
    return lesion


@transaction.atomic
def lesion_confirm(
    *, by: User, lesion: Lesion, confirmed_on: date, footwear: str, next_on: date, expected_version: int
) -> Lesion:
    """Confirmed healed at a second visit; the person goes on to remission with a date to come back."""
    site = lesion.limb.person.site
    if lesion.state != LesionState.TO_CONFIRM or lesion.closed_on is None:
        raise Refused("Only a lesion found covered and dry before can be confirmed healed.")
    earliest = confirmable_from(lesion.closed_on, site.confirm_closure_days)
    if confirmed_on < earliest:
        raise Refused(
            f"Confirmed on: {confirmed_on:%-d %b %Y} is less than {site.confirm_closure_days} days after it "
            "was "
            f"found covered and dry; {earliest:%-d %b %Y} at the earliest.",
            field="confirmed_on",
        )
    if next_on <= confirmed_on:
        raise Refused("Next visit: must lie after the confirmation.", field="next_on")
    visit = _seen_covered(lesion, confirmed_on, field="confirmed_on")
    _not_open_after(lesion, lesion.closed_on, field="confirmed_on")
    lesion.state, lesion.outcome = LesionState.HEALED, LesionOutcome.HEALED
    lesion.confirmed_on, lesion.footwear = confirmed_on, footwear.strip()
    store(lesion, by=by, expected_version=expected_version)
    _end_episode_if_over(lesion, by=by, on=confirmed_on)
    person = lesion.limb.person
    # The visit is the one carrier of next dates.
    visit.next_on = next_on
    store(visit, by=by, why="closure confirmed")
    audit.record(
        by=by, site=site, verb="confirmed healed", target=lesion, person=person, confirmed_on=confirmed_on
    )
    return lesion


@transaction.atomic
def lesion_reopen(*, by: User, lesion: Lesion, reopened_on: date, expected_version: int) -> Lesion:
    """Opened again soon after closing: the same lesion goes on. Later, it is a recurrence."""
    site = lesion.limb.person.site
    if lesion.state not in (LesionState.TO_CONFIRM, LesionState.HEALED) or lesion.closed_on is None:
        raise Refused("Only a closed lesion can open again.")
    if reopened_on < lesion.closed_on:
        raise Refused("Opened again on: lies before it was found closed.", field="reopened_on")
    last = reopens_until(lesion.closed_on, site.reopen_days)
    if lesion.state == LesionState.HEALED and reopened_on > last:
        raise Refused(
            f"Opened again on: more than {site.reopen_days} days after closing this counts as a new lesion "
            "that "
            "recurs at the same place. Add a lesion and name this one as the one it recurs after.",
            field="reopened_on",
        )
    lesion.state, lesion.outcome = LesionState.OPEN, ""
    lesion.closed_on = lesion.confirmed_on = None
    lesion.reopened_on = reopened_on
    store(lesion, by=by, expected_version=expected_version)
    if lesion.episode.ended_on is not None:
        lesion.episode.ended_on = None
        store(lesion.episode, by=by, why="a lesion opened again")
    person = lesion.limb.person
    audit.record(by=by, site=site, verb="reopened", target=lesion, person=person, reopened_on=reopened_on)
    return lesion


@transaction.atomic
def lesion_end(
    *,
    by: User,
    lesion: Lesion,
    outcome: str,
    ended_on: date,
    expected_version: int,
    joined_into: Lesion | None = None,
) -> Lesion:
    """Ended without healing: amputation, death, moved away, lost to follow-up, or grown together with another
    ulcer, which goes on.
    """
    if not lesion.is_open:
        raise Refused("This lesion has ended already.")
    if outcome == LesionOutcome.HEALED:
        raise Refused("Outcome: healed is reached by closing and confirming.", field="outcome")
    if ended_on < lesion.first_seen_on:
        raise Refused("Ended on: lies before the lesion was first seen.", field="ended_on")
    _joined_check(lesion, outcome, joined_into)
    lesion.state, lesion.outcome, lesion.ended_on = LesionState.ENDED, outcome, ended_on
    lesion.joined_into = joined_into
    store(lesion, by=by, expected_version=expected_version)
    _end_episode_if_over(lesion, by=by, on=ended_on)
    person = lesion.limb.person
    audit.record(
        by=by,
        site=person.site,
        verb="ended",
        target=lesion,
        person=person,
        outcome=outcome,
        joined_into=joined_into.pk if joined_into else None,
    )
    return lesion


def _joined_check(lesion: Lesion, outcome: str, into: Lesion | None) -> None:
    if outcome != LesionOutcome.JOINED:
        if into is not None:
            raise Refused("Joined: an ulcer is named, but the outcome is another one.", field="joined_into")
        return
    if into is None:
        raise Refused("Joined: name the ulcer that goes on.", field="joined_into")
    if into.pk == lesion.pk or into.limb_id != lesion.limb_id or into.state != LesionState.OPEN:
        raise Refused("Joined: only another open ulcer of the same foot goes on.", field="joined_into")
