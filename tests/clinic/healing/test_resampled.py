"""Intervals by people: as the formula where each has one lesion, wider where lesions of one person heal
alike.
"""

import numpy as np
import pytest

from clinic.healing.errors import SurvivalError
from clinic.healing.incidence import cumulative_incidence
from clinic.healing.resampled import incidence_by_people

CAUSES = ("healed", "died")


def drawn(n, seed=3):
    rng = np.random.default_rng(seed)
    times = np.ceil(rng.exponential(60.0, n))
    ways = rng.choice([0, 0, 0, 1, 2], n)
    return list(times), [("healed", "died", None)[k] for k in ways]


def last_before(incidence, time):
    return [point for point in incidence.curve if point.time <= time][-1]


def test_the_shares_are_those_of_the_estimate_itself():
    times, endings = drawn(80)
    plain = cumulative_incidence(times, endings, CAUSES)
    ours = incidence_by_people(times, endings, CAUSES, range(80))
    assert [[p.incidence for p in one.curve] for one in ours] == [
        [p.incidence for p in one.curve] for one in plain
    ]


def test_one_lesion_a_person_gives_the_spread_of_the_formula():
    times, endings = drawn(300)
    plain = cumulative_incidence(times, endings, CAUSES)
    ours = incidence_by_people(times, endings, CAUSES, range(300))
    for one, other in zip(plain, ours, strict=True):
        for time in (40, 80, 120):
            a, b = last_before(one, time), last_before(other, time)
            assert b.error == pytest.approx(a.error, rel=0.1)
            assert b.low == pytest.approx(a.low, abs=0.02)
            assert b.high == pytest.approx(a.high, abs=0.02)


def test_lesions_that_heal_alike_are_worth_one():
    times, endings = drawn(200)
    once = incidence_by_people(times, endings, CAUSES, range(200))[0]
    twice = incidence_by_people(times * 2, endings * 2, CAUSES, [*range(200), *range(200)])[0]
    naive = cumulative_incidence(times * 2, endings * 2, CAUSES)[0]
    known, both, blind = (last_before(one, 60) for one in (once, twice, naive))
    assert both.error == pytest.approx(known.error, rel=1e-9)
    assert blind.error == pytest.approx(known.error / np.sqrt(2.0), rel=0.1)


def test_a_draw_is_the_estimate_on_the_lesions_drawn():
    """One person drawn k times is as if the record held the person's lesions k times."""
    from clinic.healing.resampled import _shares

    times, endings = drawn(12, seed=5)
    order = np.argsort(times, kind="stable")
    ordered = np.array(times)[order]
    ways = [endings[i] for i in order]
    when = np.unique([t for t, way in zip(ordered, ways, strict=True) if way is not None])
    weights = np.random.default_rng(1).integers(0, 4, (6, 12)).astype(float)
    code = np.array([-1 if way is None else CAUSES.index(way) for way in ways])
    shares = _shares(
        weights, code, np.searchsorted(when, ordered), np.searchsorted(ordered, when), 2, when.size
    )
    for draw, counted in zip(np.moveaxis(shares, 1, 0), weights.astype(int), strict=True):
        many = cumulative_incidence(np.repeat(ordered, counted), list(np.repeat(ways, counted)), CAUSES)
        for own, one in zip(draw, many, strict=True):
            assert own == pytest.approx([one.at(time) for time in when])


def test_the_same_record_gives_the_same_interval():
    times, endings = drawn(40)
    people = [k // 2 for k in range(40)]
    assert incidence_by_people(times, endings, CAUSES, people) == incidence_by_people(
        times, endings, CAUSES, people
    )


def test_one_person_or_nobody_ended_has_no_interval():
    only = incidence_by_people([10, 20, 30], ["healed", None, "died"], CAUSES, ["a", "a", "a"])
    assert all(point.low is None and point.error is None for one in only for point in one.curve)
    assert incidence_by_people([10, 20], [None, None], CAUSES, ["a", "b"])[0].curve == ()


def test_counts_that_differ_and_too_few_draws_are_refused():
    with pytest.raises(SurvivalError, match="people: 1 given for 2 durations"):
        incidence_by_people([1, 2], ["healed", None], CAUSES, ["a"])
    with pytest.raises(SurvivalError, match="repeats: 10 given, at least 100"):
        incidence_by_people([1, 2], ["healed", None], CAUSES, ["a", "b"], repeats=10)
