import math
from dataclasses import replace
from datetime import date, timedelta

import pytest

from clinic.healing.errors import SeriesError
from clinic.healing.forecast import forecast
from clinic.healing.lookback import Followed, Outcome, Span, brier, look_back, reliability
from clinic.healing.series import Area, last_run
from tests.clinic.healing.simulated import FIRST_DAY, cohort

DAY = date(2026, 1, 5)


def on(days):
    return DAY + timedelta(days=days)


def followed(pace, *, closed=None, known_until=200, weeks=9, ended=False, radius=10.0):
    areas = tuple(
        Area(on(7 * i), math.pi * (radius - pace * i) ** 2) for i in range(weeks) if radius - pace * i > 0
    )
    return Followed("A", areas, (), None if closed is None else on(closed), on(known_until), ended)


def only(wound, week=4):
    (found,) = look_back([wound], week)
    return found


def test_nothing_later_than_the_week_is_known():
    wound = followed(0.9, closed=77)
    early = only(wound)
    then = forecast(last_run(wound.areas[:5]))
    assert (early.said.low, early.said.high) == (then.low, then.high)
    assert early.said.chance_12w == pytest.approx(then.chance_12w, abs=1e-9)
    changed = replace(wound, areas=(*wound.areas[:5], Area(on(35), 900.0)))
    assert only(changed).said == early.said
    assert replace(wound, breaks=(on(33),)) != wound
    assert only(replace(wound, breaks=(on(33),))).said == early.said


@pytest.mark.parametrize(
    ("wound", "outcome"),
    [
        (followed(0.9, closed=77), Outcome.CLOSED),
        (followed(0.9, closed=84), Outcome.CLOSED),
        (followed(0.9, closed=85), Outcome.NOT_CLOSED),
        (followed(0.1, known_until=84), Outcome.NOT_CLOSED),
        (followed(0.1, known_until=83), Outcome.UNKNOWN),
        (followed(0.1, known_until=60, ended=True), Outcome.NOT_CLOSED),
    ],
)
def test_the_outcome_is_asked_twelve_weeks_after_the_first_area(wound, outcome):
    assert only(wound).outcome is outcome


def test_closing_is_held_against_the_interval():
    said = only(followed(0.9, closed=77)).said
    low, high = ((d - DAY).days for d in (said.low, said.high))
    assert only(followed(0.9, closed=low - 1, known_until=400)).span is Span.BEFORE
    assert only(followed(0.9, closed=low, known_until=400)).span is Span.INSIDE
    assert only(followed(0.9, closed=high, known_until=400)).span is Span.INSIDE
    assert only(followed(0.9, closed=high + 1, known_until=400)).span is Span.AFTER
    assert only(followed(0.9, known_until=high)).span is Span.OPEN
    assert only(followed(0.9, known_until=high + 1)).span is Span.AFTER


def test_a_wound_already_closed_or_no_longer_known_had_no_forecast():
    assert look_back([followed(0.9, closed=28)], 4) == ()
    assert look_back([followed(0.9, known_until=27)], 4) == ()
    assert look_back([replace(followed(0.9), areas=())], 4) == ()
    assert look_back([followed(0.9, weeks=2)], 4) == ()  # two areas, the last three weeks old


def test_a_date_is_not_judged_where_none_was_named():
    wound = followed(0.9, closed=77)
    four = replace(wound, areas=(*wound.areas[:1], *wound.areas[2:]))
    assert only(four).span is Span.NO_DATE


def test_bins_and_score_leave_out_what_is_not_known_yet():
    known, unknown = only(followed(0.9, closed=77)), only(followed(0.1, known_until=83))
    assert unknown.outcome is Outcome.UNKNOWN
    (bin_,) = reliability([known, unknown])
    assert (bin_.happened.count, bin_.happened.of) == (1, 1)
    assert brier([known, unknown]) == pytest.approx(((1 - known.said.chance_12w) ** 2, 0.0))
    assert brier([unknown]) is None
    assert reliability([]) == ()


def test_of_a_simulated_clinic_the_bins_hold_every_known_wound_once():
    wounds = [
        Followed(
            str(i),
            wound.run.areas,
            (),
            None if wound.closes is None else FIRST_DAY + timedelta(days=wound.closes),
            FIRST_DAY + timedelta(days=728),
        )
        for i, wound in enumerate(cohort(120, 3))
    ]
    looked = look_back(wounds, 4)
    assert len(looked) > 60
    assert sum(b.happened.of for b in reliability(looked)) == len(looked)
    score, base = brier(looked)
    assert score < base


@pytest.mark.parametrize("week", [0, 52])
def test_an_impossible_week_is_refused(week):
    with pytest.raises(SeriesError, match="week"):
        look_back([], week)


def test_closing_after_the_last_known_day_is_refused():
    with pytest.raises(SeriesError, match="closed of A"):
        followed(0.9, closed=90, known_until=80)
