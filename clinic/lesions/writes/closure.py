"""Closing a lesion: covered and dry, confirmed healed at a later visit, opened again, or ended otherwise."""

from __future__ import annotations

from datetime import date

from django.db import transaction

from clinic.guidelines.due import confirmable_from, reopens_until
from clinic.lesions.covered import FOUND_OPEN, covered_visit, needed_by_no_other, open_after
from clinic.lesions.states import OF_WHO_LEFT, ulcer_allowed
from clinic.models import (
    OPEN_STATES,
    Lesion,
    LesionOutcome,
    LesionState,
    Person,
    PersonState,
    User,
    Visit,
)
from clinic.record.afterwards import afterwards
from clinic.record.errors import Refused, Way
from clinic.record.lifecycle import all_missing
from clinic.record.writes import audit
from clinic.record.writes.rows import store

__all__ = [
    "OF_WHO_LEFT",
    "closures_contradicted",
    "end_episode_if_over",
    "lesion_close",
    "lesion_confirm",
    "lesion_end",
    "lesion_reopen",
]


def end_episode_if_over(lesion: Lesion, *, by: User, on: date) -> None:
    """An episode is open until all its lesions have ended."""
    episode = lesion.episode
    still = episode.lesions.filter(state__in=OPEN_STATES)
    if episode.ended_on is None and not still.exists():
        episode.ended_on = on
        store(episode, by=by, why="all ulcers have ended")


def _seen_covered(lesion: Lesion, day: date, *, field: str) -> Visit:
    """The visit of that day that found the lesion covered and dry; a closure rests on nothing else."""
    visit = covered_visit(lesion, day)
    if visit is None:
        raise Refused(
            f"No visit of {day:%-d %b %Y} found this ulcer covered and dry. Log the visit first, with "
            "“fully covered and dry” ticked.",
            field=field,
            way=Way("visit_new", lesion.limb.person_id, "Log the visit"),
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
            way=Way("visit", found.visit_id, "Look at that visit"),
        )


def _not_before_first(lesion: Lesion, closed_on: date) -> None:
    if closed_on < lesion.first_seen_on:
        raise Refused(
            f"Covered and dry on: {closed_on:%-d %b %Y} lies before the ulcer was first seen, "
            f"{lesion.first_seen_on:%-d %b %Y}.",
            field="closed_on",
            way=Way("lesion_edit", lesion.pk, "Correct the ulcer"),
        )


def _late_enough(lesion: Lesion, closed_on: date, confirmed_on: date) -> None:
    days = lesion.limb.person.site.confirm_closure_days
    earliest = confirmable_from(closed_on, days)
    if confirmed_on < earliest:
        raise Refused(
            f"Confirmed on: {confirmed_on:%-d %b %Y} is less than {days} days after it was found covered "
            f"and dry; {earliest:%-d %b %Y} at the earliest.",
            field="confirmed_on",
        )


def _next_after(confirmed_on: date, next_on: date) -> None:
    if next_on <= confirmed_on:
        raise Refused("Next visit: must lie after the confirmation.", field="next_on")


@transaction.atomic
def lesion_close(*, by: User, lesion: Lesion, closed_on: date, expected_version: int) -> Lesion:
    """Found covered and dry at a visit: closed, to be confirmed at a later one. The device stays on."""
    ulcer_allowed(lesion, "close")
    all_missing(
        lambda: _not_before_first(lesion, closed_on),
        lambda: _seen_covered(lesion, closed_on, field="closed_on"),
        lambda: _not_open_after(lesion, closed_on, field="closed_on"),
    )
    lesion.state, lesion.closed_on = LesionState.TO_CONFIRM, closed_on
    store(lesion, by=by, expected_version=expected_version)
    person = lesion.limb.person
    audit.record(by=by, site=person.site, verb="closed", target=lesion, person=person, closed_on=closed_on)
    return lesion


@transaction.atomic
def lesion_confirm(
    *,
    by: User,
    lesion: Lesion,
    confirmed_on: date,
    footwear: str,
    next_on: date,
    expected_version: int,
    device: str = "",
    device_words: str = "",
) -> Lesion:
    """Confirmed healed at a second visit; the person goes on to remission with a date to come back.

    `device` says what happens to the device no other ulcer needs: taken off, or worn on for a reason; while
    it is not said, the device stands on Today.
    """
    site = lesion.limb.person.site
    ulcer_allowed(lesion, "confirm")
    closed_on = lesion.closed_on
    assert closed_on is not None  # closed, to confirm
    all_missing(
        lambda: _late_enough(lesion, closed_on, confirmed_on),
        lambda: _next_after(confirmed_on, next_on),
        lambda: _seen_covered(lesion, confirmed_on, field="confirmed_on"),
        lambda: _not_open_after(lesion, closed_on, field="confirmed_on"),
    )
    visit = _seen_covered(lesion, confirmed_on, field="confirmed_on")
    lesion.state, lesion.outcome = LesionState.HEALED, LesionOutcome.HEALED
    lesion.confirmed_on, lesion.footwear = confirmed_on, footwear.strip()
    store(lesion, by=by, expected_version=expected_version)
    end_episode_if_over(lesion, by=by, on=confirmed_on)
    person = lesion.limb.person
    # The visit is the one carrier of next dates.
    visit.next_on = next_on
    store(visit, by=by, why="closure confirmed")
    audit.record(
        by=by, site=site, verb="confirmed healed", target=lesion, person=person, confirmed_on=confirmed_on
    )
    if device:
        worn = needed_by_no_other(lesion)
        afterwards(
            "device_not_needed", by=by, prescription=worn, choice=device, words=device_words, on=confirmed_on
        )
    return lesion


@transaction.atomic
def lesion_reopen(
    *, by: User, lesion: Lesion, reopened_on: date, expected_version: int, why: str = ""
) -> Lesion:
    """Opened again soon after closing: the same lesion goes on. Later, it is a recurrence. So does the open
    ulcer of somebody who had left and is in care again.
    """
    site = lesion.limb.person.site
    ulcer_allowed(lesion, "reopen")
    if lesion.state == LesionState.ENDED:
        _of_who_came_back(lesion, reopened_on)
    else:
        assert lesion.closed_on is not None  # closed before
        _soon_after(lesion, lesion.closed_on, reopened_on)
    lesion.state, lesion.outcome = LesionState.OPEN, ""
    lesion.closed_on = lesion.confirmed_on = lesion.ended_on = None
    lesion.reopened_on = reopened_on
    store(lesion, by=by, expected_version=expected_version, why=why)
    if lesion.episode.ended_on is not None:
        lesion.episode.ended_on = None
        store(lesion.episode, by=by, why="an ulcer opened again")
    person = lesion.limb.person
    audit.record(by=by, site=site, verb="reopened", target=lesion, person=person, reopened_on=reopened_on)
    return lesion


def closures_contradicted(*, by: User, person: Person) -> list[Lesion]:
    """Ulcers to confirm that a later visit found open are open again; call inside its transaction."""
    waiting = Lesion.objects.filter(limb__person=person, state=LesionState.TO_CONFIRM)
    reopened = []
    for lesion in waiting.select_related("limb__person__site", "episode").order_by("pk"):
        assert lesion.closed_on is not None  # closed, to confirm
        found = open_after(lesion, lesion.closed_on)
        if found is not None:
            day, seen = found.visit.visited_on, lesion.version
            reopened.append(
                lesion_reopen(by=by, lesion=lesion, reopened_on=day, expected_version=seen, why=FOUND_OPEN)
            )
    return reopened


def _soon_after(lesion: Lesion, closed_on: date, on: date) -> None:
    if on < closed_on:
        raise Refused("Reopened on: lies before it was found closed.", field="reopened_on")
    days = lesion.limb.person.site.reopen_days
    if lesion.state == LesionState.HEALED and on > reopens_until(closed_on, days):
        raise Refused(
            f"Reopened on: more than {days} days after closing this counts as a new ulcer that "
            "recurs at the same place. Add an ulcer and name this one as the one it recurs after.",
            field="reopened_on",
        )


def _of_who_came_back(lesion: Lesion, on: date) -> None:
    if lesion.limb.person.state != PersonState.IN_CARE:
        raise Refused("The patient is not in care here; record first that they are back.")
    if lesion.ended_on and on < lesion.ended_on:
        raise Refused(f"Reopened on: lies before it ended, {lesion.ended_on:%-d %b %Y}.", field="reopened_on")


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
    ulcer_allowed(lesion, "end")
    if outcome == LesionOutcome.HEALED:
        raise Refused("Outcome: healed is reached by closing and confirming.", field="outcome")
    if outcome == LesionOutcome.IN_ERROR:
        raise Refused("Outcome: an ulcer registered in error has a page of its own.", field="outcome")
    if ended_on < lesion.first_seen_on:
        raise Refused("Ended on: lies before the ulcer was first seen.", field="ended_on")
    _joined_check(lesion, outcome, joined_into)
    lesion.state, lesion.outcome, lesion.ended_on = LesionState.ENDED, outcome, ended_on
    lesion.joined_into = joined_into
    store(lesion, by=by, expected_version=expected_version)
    end_episode_if_over(lesion, by=by, on=ended_on)
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
    ulcer_allowed(into, "take_in", field="joined_into")
    if into.pk == lesion.pk or into.limb_id != lesion.limb_id:
        raise Refused("Joined: only another open ulcer of the same foot goes on.", field="joined_into")
