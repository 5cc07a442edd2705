from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from clinic.healing.errors import SeriesError
from clinic.healing.series import Area, Method, WoundState, ellipse_area, last_run, square_mm

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
