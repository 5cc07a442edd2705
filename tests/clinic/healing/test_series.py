from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from clinic.healing.errors import SeriesError
from clinic.healing.series import Area, Method, WoundState, ellipse_area, last_run, recent, square_mm

DAY = date(2026, 1, 5)


def weekly(*cm2, method=Method.TRACED, state=WoundState.NOT_STATED, start=DAY):
    return [Area(start + timedelta(days=7 * i), square_mm(a), method, state) for i, a in enumerate(cm2)]


def test_areas_are_put_in_order_of_days():
    areas = weekly(3.0, 2.0, 1.0)
    assert last_run(reversed(areas)).areas == tuple(areas)


def test_a_series_of_one_method_is_whole_and_says_nothing():
    run = last_run(weekly(3.0, 2.0))
    assert run.left_out == 0
    assert run.note is None


def test_a_change_of_method_splits_and_says_so():
    traced = weekly(3.0, 2.0)
    ruler = weekly(2.6, 2.4, method=Method.RULER, start=DAY + timedelta(days=14))
    run = last_run(traced + ruler)
    assert run.areas == tuple(ruler)
    assert run.left_out == 2
    assert "2 of 4 areas, ruler" in run.note


def test_one_visit_of_another_method_breaks_the_run():
    areas = weekly(3.0, 2.5, 2.0, 1.5)
    areas[2] = Area(areas[2].day, 200.0, Method.ELLIPSE)
    assert len(last_run(areas).areas) == 1


def test_before_and_after_debridement_at_each_visit_keeps_the_whole_length():
    before = weekly(3.0, 2.0, 1.0, state=WoundState.BEFORE)
    after = weekly(3.3, 2.2, 1.1, state=WoundState.AFTER)
    run = last_run(before + after)
    assert run.areas == tuple(after)
    assert run.left_out == 3


def test_the_longer_run_of_two_on_the_last_day_is_taken():
    before = weekly(3.0, 2.0, 1.0, state=WoundState.BEFORE)
    after = weekly(1.2, state=WoundState.AFTER, start=before[-1].day)
    assert last_run(before + after).areas == tuple(before)


def test_two_areas_of_one_kind_on_one_day_are_refused():
    with pytest.raises(SeriesError, match="2026-01-05: 2 given as traced, at most 1 a day"):
        last_run([Area(DAY, 100.0), Area(DAY, 110.0)])


def test_no_area_is_refused():
    with pytest.raises(SeriesError, match="at least 1"):
        last_run([])


@pytest.mark.parametrize("bad", [-1.0, float("nan"), float("inf"), 100_001.0])
def test_an_area_out_of_bounds_is_refused(bad):
    with pytest.raises(SeriesError, match="is not from 0 to 100000 mm²"):
        Area(DAY, bad)


def test_a_perimeter_shorter_than_the_circle_is_refused():
    with pytest.raises(SeriesError, match="shorter than the circle"):
        Area(DAY, 100.0, perimeter=30.0)


@pytest.mark.parametrize(("length", "width"), [(0, 0), (10, 12), (float("nan"), 1), (10, -1)])
def test_impossible_axes_are_refused(length, width):
    with pytest.raises(SeriesError, match="length|width"):
        ellipse_area(length, width)


@given(st.lists(st.sampled_from([Method.TRACED, Method.ELLIPSE, Method.RULER]), min_size=1, max_size=20))
def test_a_run_holds_one_kind_ends_on_the_last_day_and_accounts_for_every_area(methods):
    areas = [Area(DAY + timedelta(days=i), 100.0, method) for i, method in enumerate(methods)]
    run = last_run(areas)
    assert {a.method for a in run.areas} == {methods[-1]}
    assert run.last == areas[-1]
    assert len(run.areas) + run.left_out == len(areas)
    assert (run.note is None) == (len(set(methods)) == 1)


def areas_of(*cm2):
    return [Area(DAY + timedelta(days=7 * i), 100.0 * a) for i, a in enumerate(cm2)]


@pytest.mark.parametrize(
    ("cm2", "left"),
    [
        ((3, 2, 0, 0, 0.5, 0.4), (0.5, 0.4)),
        ((3, 0, 2, 0), (2, 0)),
        ((3, 2, 0, 0), (3, 2, 0, 0)),
        ((0, 0), (0, 0)),
        ((0, 1), (1,)),
    ],
)
def test_an_area_of_zero_ends_a_run_and_what_opens_again_is_a_course_of_its_own(cm2, left):
    run = last_run(areas_of(*cm2))
    assert tuple(area.area_cm2 for area in run.areas) == left
    assert (run.note is None) == (len(left) == len(cm2))
    if run.note:
        assert "the ulcer was closed on" in run.note
        assert "another method" not in run.note


@given(st.lists(st.sampled_from([0.0, 100.0, 200.0]), min_size=1, max_size=12))
def test_a_run_never_holds_an_open_area_after_a_closed_one(values):
    run = last_run([Area(DAY + timedelta(days=i), value) for i, value in enumerate(values)])
    assert not any(a.area == 0 and b.area > 0 for a, b in zip(run.areas, run.areas[1:], strict=False))
    assert run.last.area == values[-1]


def test_what_lies_before_a_gap_of_more_than_eight_weeks_is_not_recent():
    run = last_run([Area(DAY + timedelta(days=d), 100.0) for d in (0, 7, 63, 120, 127)])
    assert [a.day for a in recent(run).areas] == [DAY + timedelta(days=d) for d in (120, 127)]
    assert recent(last_run(areas_of(1, 2))) == last_run(areas_of(1, 2))


def test_a_day_found_covered_ends_a_run_as_an_area_of_zero_does():
    areas = areas_of(3, 2, 0.5, 0.4)
    covered = areas[1].day + timedelta(days=3)
    run = last_run(areas, [covered])
    assert [a.area_cm2 for a in run.areas] == [0.5, 0.4]
    assert f"the ulcer was closed on {covered.day} {covered:%b %Y}" in run.note
    assert last_run(areas, [areas[-1].day]) == last_run(areas)
    assert last_run(areas, [areas[0].day - timedelta(days=1)]) == last_run(areas)
