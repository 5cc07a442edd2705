"""Events that end an ulcer, or take an end back."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

from clinic.case.writes import in_error as registered
from clinic.case.writes.in_error import RightPlace
from clinic.lesions.states import ulcer_state
from clinic.lesions.writes import closure, closure_back, lesions
from clinic.models import (
    Lesion,
    Measurement,
)

from .visits import WORDS, state_after, ulcer, visit
from .world import World


# --- ends ---------------------------------------------------------------------------------------------------
def _covered_day(w: World, one: Lesion) -> date:
    days = Measurement.objects.filter(lesion=one, covered_dry=True, visit__state="stands")
    days = list(days.order_by("-visit__visited_on").values_list("visit__visited_on", flat=True)[:3])
    return w.random.choice(days) if days and w.maybe(0.9) else w.today


def _end(w: World, one: Lesion, event: str, write: Any, *cells: Any) -> None:
    w.meet(
        write,
        ("ulcer", ulcer_state(one), event),
        *cells,
        of=one.limb.person,
        does="correct",
        after={"ulcer": state_after(one)} if not cells else None,
    )


def close(w: World) -> None:
    if one := ulcer(w, "open"):
        day = _covered_day(w, one)
        by = w.by(one.limb.person)
        _end(
            w,
            one,
            "close",
            lambda: closure.lesion_close(by=by, lesion=one, closed_on=day, expected_version=one.version),
        )


def confirm(w: World) -> None:
    if one := ulcer(w, "to_confirm"):
        day = _covered_day(w, one)
        by = w.by(one.limb.person, "podiatrist")
        _end(
            w,
            one,
            "confirm",
            lambda: closure.lesion_confirm(
                by=by,
                lesion=one,
                confirmed_on=day,
                footwear="",
                next_on=day + timedelta(days=w.one(7, 30, 90)),
                expected_version=one.version,
            ),
        )


def opens_again(w: World) -> None:
    """Found covered and closed, an ulcer is open at the next visit, before anybody confirmed."""
    if (one := ulcer(w, "open", "to_confirm")) is None:
        return
    person, next_on = one.limb.person, w.today + timedelta(days=7)
    if one.state == "open":
        visit(w, person, covered=True, device_opened=True, red_flags=(), next_on=next_on)
        w.focus = {Lesion: one.pk}
        close(w)
        w.focus = {}
    w.later(w.one(1, 3))
    visit(w, person, covered=False, device_opened=True, next_on=next_on)


def reopen(w: World) -> None:
    if one := ulcer(w, "to_confirm", "healed"):
        by = w.by(one.limb.person)
        _end(
            w,
            one,
            "reopen",
            lambda: closure.lesion_reopen(
                by=by, lesion=one, reopened_on=w.today, expected_version=one.version
            ),
        )


def end(w: World) -> None:
    if one := ulcer(w, "open"):
        by = w.by(one.limb.person, "podiatrist")
        outcome = w.one("minor_amputation", "lost", "moved")
        _end(
            w,
            one,
            "end",
            lambda: closure.lesion_end(
                by=by, lesion=one, outcome=outcome, ended_on=w.today, expected_version=one.version
            ),
        )


def join(w: World, into: Lesion | None = None) -> None:
    one = ulcer(w, "open")
    if one is None:
        return
    into = into or w.pick(Lesion.objects.filter(limb=one.limb_id).exclude(pk=one.pk))
    if into is None:
        return
    by = w.by(one.limb.person, "podiatrist")
    _end(
        w,
        one,
        "end",
        lambda: closure.lesion_end(
            by=by,
            lesion=one,
            outcome="joined",
            ended_on=w.today,
            expected_version=one.version,
            joined_into=into,
        ),
        ("ulcer", ulcer_state(into), "take_in"),
    )


def unclose(w: World) -> None:
    """What is done where its closing or its confirming visit is taken back."""
    if one := ulcer(w, "to_confirm", "healed"):
        day = w.one(one.closed_on, one.confirmed_on)
        by = w.by(one.limb.person)
        _end(
            w,
            one,
            "take_back",
            lambda: closure_back.closure_take_back(by=by, lesion=one, day=day, reason=WORDS),
        )


def in_error(w: World) -> None:
    """Registered in error: on the wrong foot, or never there."""
    if one := ulcer(w):
        person = one.limb.person
        there = person.limbs.exclude(pk=one.limb_id).get()
        right = RightPlace(limb=there, place=one.place) if w.maybe(0.5) else RightPlace()
        by = w.by(person, "podiatrist")
        _end(
            w,
            one,
            "in_error",
            lambda: registered.lesion_in_error(
                by=by,
                lesion=one,
                because=WORDS,
                right=right,
                findings_move=w.maybe(0.5) if right.given else None,
                device="taken_off" if w.maybe(0.8) else "",
                device_by="the nurse",
                expected_version=one.version,
            ),
        )


def correct_ulcer(w: World) -> None:
    if one := ulcer(w):
        by = w.by(one.limb.person)
        _end(
            w,
            one,
            "correct",
            lambda: lesions.lesion_correct(
                by=by,
                lesion=one,
                limb=one.limb,
                why=WORDS,
                expected_version=one.version,
                cause="neuroischaemic" if one.cause == "neuropathic" else "neuropathic",
            ),
        )


def week_covered(w: World) -> None:
    """Two weeks later, covered, and the closure goes on as it may."""
    w.later(14)
    visit(w, covered=True, device_opened=True)
    w.one(close, confirm)(w)
