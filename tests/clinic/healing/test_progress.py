import math
from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from clinic.healing.errors import SeriesError
from clinic.healing.progress import (
    area_at,
    area_error,
    change_between,
    linear_advance,
    progress_of,
    reduction_percent,
)
from clinic.healing.series import Area, Method, Run, last_run, square_mm

DAY = date(2026, 1, 5)
AREAS = st.floats(0.01, 1e5)


def series(*pairs):
    return last_run([Area(DAY + timedelta(days=d), square_mm(a)) for d, a in pairs])


def test_one_area_has_no_change_and_no_advance():
    progress = progress_of(series((0, 2.0)))
    assert progress.reduction_last == 0.0
    assert progress.advance is None
    assert progress.last_change is None
    assert progress.reduction_4w is None
    assert progress.weekly == (0.0,)


def test_day_28_is_interpolated_between_the_visits_around_it():
    progress = progress_of(series((0, 4.0), (21, 3.0), (35, 2.0)))
    assert progress.reduction_4w == pytest.approx(37.5)


def test_a_visit_on_day_28_stands_for_itself():
    assert progress_of(series((0, 4.0), (28, 1.0), (35, 3.0))).reduction_4w == pytest.approx(75.0)


@pytest.mark.parametrize(("day", "expected"), [(24, None), (25, 50.0), (27, 50.0)])
def test_without_a_visit_at_or_after_day_25_there_is_no_four_week_figure(day, expected):
    assert progress_of(series((0, 4.0), (7, 3.5), (day, 2.0))).reduction_4w == expected


def test_the_last_28_days_are_judged_against_the_area_of_28_days_before():
    progress = progress_of(series((0, 4.0), (28, 4.0), (56, 1.0)))
    assert progress.reduction_28d == pytest.approx(75.0)
    assert progress.reduction_last == pytest.approx(75.0)
    assert progress_of(series((0, 4.0), (27, 1.0))).reduction_28d is None


def test_a_first_area_of_zero_has_no_percentage():
    progress = progress_of(Run((Area(DAY, 0.0), Area(DAY + timedelta(days=7), 100.0))))
    assert progress.reduction_last is None
    assert progress.last_change.percent is None
    assert progress.last_change.words == "open again after an area of 0"


def test_no_figure_is_interpolated_across_a_gap():
    progress = progress_of(series((0, 3.0), (7, 2.5), (735, 2.0)))
    assert (progress.reduction_4w, progress.reduction_28d, progress.three_weeks) == (None, None, None)
    assert progress.reduction_last == pytest.approx(100 / 3)
    assert set(progress.weekly[2:105]) == {None}


def test_two_areas_of_zero_have_no_advance():
    assert progress_of(series((0, 0.0), (7, 0.0))).advance is None


def test_the_advance_uses_measured_margins_only_where_both_are_known():
    first = Area(DAY, 900.0, perimeter=140.0)
    last = Area(DAY + timedelta(days=7), 400.0, perimeter=110.0)
    bare = Area(DAY + timedelta(days=7), 400.0)
    assert progress_of(last_run([first, last])).advance == pytest.approx(500.0 / 125.0)
    assert progress_of(last_run([first, bare])).advance == pytest.approx(
        math.sqrt(900 / math.pi) - math.sqrt(400 / math.pi)
    )


@pytest.mark.parametrize(
    ("area", "method", "expected"),
    [(1000.0, Method.TRACED, 100.0), (1000.0, Method.RULER, 200.0), (1000.0, Method.ELLIPSE, 200.0)],
)
def test_the_error_of_a_large_area_is_its_share(area, method, expected):
    assert area_error(area, method) == pytest.approx(expected)


def test_the_error_of_a_small_area_is_half_a_millimetre_round_the_margin():
    assert area_error(25.0, Method.TRACED) == pytest.approx(0.5 * 2 * math.sqrt(math.pi * 25.0))
    assert area_error(1000.0, Method.TRACED, perimeter=400.0) == pytest.approx(200.0)


def test_the_words_of_a_change_carry_its_error():
    assert change_between(400.0, 328.0, Method.TRACED).words == "18 % smaller (± 14 %, beyond error)"
    assert change_between(400.0, 440.0, Method.TRACED).words == "10 % larger (± 14 %, within error)"
    assert change_between(400.0, 400.0, Method.RULER).words == "no change (± 28 %, within error)"
    assert change_between(60.0, 40.0, Method.TRACED).words.endswith("too small to judge by area)")
    assert change_between(60.0, 0.0, Method.TRACED).words == "closed since the last area"


def test_a_clinics_own_error_takes_the_place_of_the_design_choice_in_the_words_of_a_change():
    assert change_between(400.0, 376.0, Method.TRACED).words == "6 % smaller (± 14 %, within error)"
    small, large = (change_between(4000.0, 3760.0, Method.TRACED, share=s) for s in (0.04, 0.15))
    assert small.words == "6 % smaller (± 6 %, beyond error)"
    assert large.words == "6 % smaller (± 21 %, within error)"
    # The margin's half millimetre stays below it: a share is a mean over wounds of many sizes.
    assert change_between(400.0, 376.0, Method.TRACED, share=0.001).error == pytest.approx(
        2**0.5 * 0.5 * 2 * (3.141592653589793 * 400) ** 0.5
    )


@pytest.mark.parametrize("bad", [-1.0, float("nan")])
def test_a_change_of_impossible_areas_is_refused(bad):
    with pytest.raises(SeriesError, match="later area"):
        change_between(100.0, bad, Method.TRACED)


@given(AREAS, AREAS)
def test_the_advance_of_circles_is_the_difference_of_their_radii(first, later):
    expected = math.sqrt(first / math.pi) - math.sqrt(later / math.pi)
    assert linear_advance(first, later) == pytest.approx(expected, rel=1e-9, abs=1e-9)


@given(AREAS, AREAS, st.floats(0.1, 10.0))
def test_the_reduction_does_not_depend_on_the_unit(first, later, factor):
    assert reduction_percent(first * factor, later * factor) == pytest.approx(
        reduction_percent(first, later), abs=1e-6
    )


@given(st.lists(st.floats(0.01, 50.0), min_size=2, max_size=8), st.floats(0, 1))
def test_an_interpolated_area_lies_between_its_neighbours(values, share):
    run = series(*((7 * i, v) for i, v in enumerate(values)))
    day = share * run.span
    area = area_at(run, day)
    index = min(int(day // 7), len(values) - 2)
    pair = (run.areas[index].area, run.areas[index + 1].area)
    assert min(pair) - 1e-9 <= area <= max(pair) + 1e-9
    assert area_at(run, run.span + 0.1) is None


@given(AREAS, st.sampled_from(list(Method)))
def test_an_unchanged_area_is_never_a_real_change(area, method):
    change = change_between(area, area, method)
    assert not change.real
    assert change.error > 0
