from dataclasses import replace
from datetime import date, timedelta
from math import pi

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.special import expit, logit

from clinic.healing.errors import SeriesError
from clinic.healing.forecast import forecast
from clinic.healing.lookback import Followed, look_back
from clinic.healing.own import own_of, pasts_of
from clinic.healing.recalibration import LEAST_CLOSED, Past, Tails, adapted, line_of, tails_of
from clinic.healing.series import Area, last_run

DAY = date(2026, 1, 5)
TODAY = date(2028, 1, 1)


def said(pace=0.8, radius=8.0, count=5):
    areas = [Area(DAY + timedelta(days=7 * i), pi * (radius - pace * i) ** 2) for i in range(count)]
    return forecast(last_run(areas))


SAID = said()


def past(days, known=400.0, on=TODAY):
    return Past(SAID, None if days is None else float(days), float(known), on)


def drawn(rng, size, low=0.0, high=1.0):
    """Closings spread evenly between two chances of what was said."""
    scores = rng.uniform(low, high, size)
    days = np.interp(scores, SAID.weeks, 7.0 * np.arange(len(SAID.weeks)))
    return [
        past(day) if score < SAID.weeks[-1] else past(None) for day, score in zip(days, scores, strict=True)
    ]


def test_no_outcome_changes_nothing_and_few_change_little():
    assert line_of([], []).of(0.3) == pytest.approx(0.3)
    one = line_of([0.9], [False])
    assert 0.6 < one.of(0.9) < 0.9


def test_the_line_of_many_outcomes_is_the_one_they_were_drawn_with():
    rng = np.random.default_rng(2)
    chances = rng.uniform(0.05, 0.95, 20_000)
    came = rng.random(20_000) < expit(-0.5 + 0.7 * logit(chances))
    line = line_of(chances.tolist(), came.tolist())
    assert line.level == pytest.approx(-0.5, abs=0.06)
    assert line.slope == pytest.approx(0.7, abs=0.06)


@given(st.lists(st.tuples(st.floats(0, 1), st.booleans()), max_size=60), st.floats(0.01, 0.98))
def test_a_recalibrated_chance_is_a_chance_and_keeps_the_order(outcomes, chance):
    line = line_of([c for c, _ in outcomes], [b for _, b in outcomes])
    assert 0.0 <= line.of(chance) <= line.of(chance + 0.01) <= 1.0
    assert (line.of(0.0), line.of(1.0)) == (0.0, 1.0)


@pytest.mark.parametrize(("chances", "came"), [([0.5], []), ([1.2], [True]), ([float("nan")], [True])])
def test_impossible_outcomes_are_refused(chances, came):
    with pytest.raises(SeriesError):
        line_of(chances, came)


def test_tails_of_a_calibrated_clinic_are_a_tenth_and_nine():
    tails = tails_of(drawn(np.random.default_rng(1), 4000), TODAY)
    assert tails.low == pytest.approx(0.10, abs=0.02)
    assert tails.high == pytest.approx(0.90, abs=0.02)


def test_a_late_clinic_gets_a_later_interval():
    rng = np.random.default_rng(1)
    tails = tails_of(drawn(rng, 400, 0.3, 0.8), TODAY)
    assert tails.low == pytest.approx(0.35, abs=0.03)
    assert tails.high == pytest.approx(0.75, abs=0.03)
    assert tails.of(SAID)[0] > SAID.low


def test_the_early_end_belongs_to_whether_a_late_one_is_named():
    slow = said(pace=0.15, radius=9.0)
    tails = Tails(low=0.2, high=0.85, low_open=0.05, n=100, closed=80)
    assert slow.weeks[-1] < 0.85 < SAID.weeks[-1]
    assert tails.of(SAID) == (SAID.day_of(0.2), SAID.day_of(0.85))
    assert tails.of(slow) == (slow.day_of(0.05), None)


def test_open_courses_are_censored_and_not_counted_as_late_or_left_out():
    rng = np.random.default_rng(4)
    scores = rng.uniform(0, 0.85, 3000)
    days = np.interp(scores, SAID.weeks, 7.0 * np.arange(len(SAID.weeks)))
    ends = rng.uniform(20, 200, 3000)
    seen = [past(d if d <= e else None, e) for d, e in zip(days, ends, strict=True)]
    tails = tails_of(seen, TODAY)
    assert tails.low == pytest.approx(0.085, abs=0.02)
    assert tails.high == pytest.approx(0.765, abs=0.03)
    closed_only = tails_of([p for p in seen if p.closed is not None], TODAY)
    assert closed_only.high < tails.high - 0.03  # what leaving the open ones out would do


def test_old_outcomes_count_less():
    old = [
        past(d.closed, on=TODAY - timedelta(days=2920))
        for d in drawn(np.random.default_rng(1), 200, 0.0, 0.3)
    ]
    new = drawn(np.random.default_rng(2), 200, 0.4, 0.8)
    both = tails_of(old + new, TODAY)
    assert both.high > 0.7
    assert both.low > tails_of([past(p.closed) for p in old] + new, TODAY).low + 0.02


def test_coverage_comes_back_after_a_shift():
    """Closings move to later scores; tails moved after each outcome miss a tenth again, fixed ones do not."""
    rng = np.random.default_rng(6)
    scores = np.concatenate([rng.uniform(0, 1, 300), rng.beta(4, 1.5, 900)])
    tail, missed, fixed = 0.10, [], []
    past_scores = list(rng.uniform(0, 1, 200))
    for score in scores:
        end = np.quantile(past_scores, 1.0 - tail)
        missed.append(bool(score > end))
        fixed.append(bool(score > 0.9))
        tail = adapted(0.10, missed)
        past_scores.append(score)
    assert np.mean(missed[-400:]) == pytest.approx(0.10, abs=0.03)
    assert np.mean(fixed[-400:]) > 0.15


def test_own_figures_are_off_below_their_number_and_know_nothing_later():
    pasts = drawn(np.random.default_rng(1), 200, 0.1, 0.6)
    few = pasts[: LEAST_CLOSED - 1]
    assert own_of(few, TODAY).line is None
    assert own_of(few, TODAY).tails is None
    own = own_of(pasts, TODAY)
    assert own.line.n == 200
    assert own.made_on == TODAY
    later = [past(p.closed, on=TODAY + timedelta(days=1)) for p in pasts]
    assert own_of(later, TODAY).line is None
    assert own_of(pasts + later, TODAY) == own


def test_counts_hold_every_known_outcome_and_no_other():
    pasts = [past(30), past(80), past(None, known=20.0), past(None, known=90.0)]
    counts = own_of(pasts, TODAY).counts
    assert sum(of for _, of in counts.within_8) == 3, "open for 20 days is not known yet"
    assert sum(closed for closed, _ in counts.within_8) == 1
    ended = replace(past(None, known=20.0), ended=True)
    assert sum(of for _, of in own_of([ended], TODAY).counts.within_8) == 1, "an amputation is not closed"


def test_a_chance_is_counted_as_it_would_have_been_told_then():
    """Forty courses that all close were known before the last ten: those count in a higher tenth."""
    known_on = SAID.last + timedelta(days=20)
    early = [replace(past(20), on=known_on) for _ in range(40)]
    later = replace(SAID, last=SAID.last + timedelta(days=400))
    counts = own_of([*early, *(replace(past(20), said=later) for _ in range(10))], TODAY).counts.within_8
    as_said = min(int(SAID.chance_next_8w * 10), 9)
    assert counts[as_said] == (40, 40), "none of them was known when they were told"
    assert sum(of for _, of in counts[as_said + 1 :]) == 10


@pytest.mark.parametrize(("closed", "known"), [(-1.0, 5.0), (6.0, 5.0), (None, float("nan"))])
def test_impossible_days_are_refused(closed, known):
    with pytest.raises(SeriesError):
        Past(SAID, closed, known, TODAY)


def test_looking_back_gives_outcomes_from_the_last_area_on():
    areas = tuple(Area(DAY + timedelta(days=7 * i), pi * (8 - 0.8 * i) ** 2) for i in range(9))
    closed = DAY + timedelta(days=70)
    wounds = [
        Followed("A", areas, (), closed, closed),
        Followed("B", areas, (), None, DAY + timedelta(days=50)),
        Followed("C", areas, (), None, DAY + timedelta(days=40), ended=True),
    ]
    first, open_, ended = pasts_of(look_back(wounds, 4))
    assert (first.closed, first.known, first.on) == (42.0, 42.0, closed)
    assert (open_.closed, open_.known) == (None, 22.0)
    assert (ended.closed, ended.known) == (None, 12.0)


def test_a_clinic_that_changes_gets_its_coverage_back():
    """From the 150th closing on, wounds close later than before; intervals are made anew every ten
    outcomes."""
    rng = np.random.default_rng(9)
    scores = np.concatenate([rng.uniform(0.02, 0.6, 150), rng.uniform(0.4, 0.85, 250)])
    days = np.interp(scores, SAID.weeks, 7.0 * np.arange(len(SAID.weeks)))
    start = date(2024, 1, 1)
    pasts = [past(day, known=max(day, 1.0), on=start + timedelta(days=3 * i)) for i, day in enumerate(days)]
    inside = []
    for end in range(150, 400, 10):
        tails = own_of(pasts[:end], pasts[end - 1].on).tails
        inside += [tails.low <= score <= tails.high for score in scores[end : end + 10]]
    assert np.mean(inside[:20]) < 0.7
    assert np.mean(inside[-100:]) == pytest.approx(0.80, abs=0.08)
