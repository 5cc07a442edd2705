"""A change of method keeps the last judged verdict, with its day."""

from dataclasses import replace
from datetime import date, timedelta

from hypothesis import given, settings
from hypothesis import strategies as st

from clinic.healing.reason import day_words
from clinic.healing.report import lesion_report, lesion_reports
from clinic.healing.series import Area, Method, WoundState
from clinic.healing.verdict import Findings, VerdictWord

START = date(2026, 9, 1)
OF_A_COURSE = (VerdictWord.WORSENING, VerdictWord.STALLED, VerdictWord.SLOW, VerdictWord.ON_COURSE)


def traced(*cm2, every=7):
    return [Area(START + timedelta(days=every * i), 100.0 * area) for i, area in enumerate(cm2)]


def after(areas, days, cm2, **kind):
    return Area(areas[-1].day + timedelta(days=days), 100.0 * cm2, **(kind or {"method": Method.ELLIPSE}))


HEALING = traced(4, 3.5, 3, 2.5, 2.1, 1.7, 1.3, 0.9, 0.5)
STANDING = traced(3, 3.1, 2.9, 3, 3.1, 3, 2.9, 3, 3)


@given(
    course=st.lists(st.floats(0.6, 40), min_size=3, max_size=9).map(lambda cm2: traced(*cm2)),
    days=st.integers(1, 56),
    ruler=st.floats(0.05, 60),
    kind=st.sampled_from([{"method": Method.ELLIPSE}, {"state": WoundState.AFTER}]),
)
@settings(max_examples=60)
def test_one_area_of_another_kind_leaves_the_word_as_it_was(course, days, ruler, kind):
    then = lesion_report(course).verdict
    now = lesion_report([*course, after(course, days, ruler, **kind)]).verdict
    assert now.word is then.word
    if then.word in OF_A_COURSE:
        assert f"until {day_words(course[-1].day)}" in now.reasons[0].text
        assert set(then.reasons) <= set(now.reasons)


def test_nine_traced_weeks_and_one_ruler_value_do_not_read_too_early():
    report = lesion_report([*HEALING, after(HEALING, 7, 0.6)])
    assert report.verdict.word is VerdictWord.ON_COURSE
    assert report.verdict.reasons[0].text.startswith("On track by areas traced until 27 Oct 2026")
    assert lesion_reports([[*STANDING, after(STANDING, 7, 3.4)]])[0].verdict.word is VerdictWord.STALLED


def test_once_the_new_areas_can_be_judged_they_are():
    grown = [replace(a, method=Method.ELLIPSE) for a in traced(1, 2, 3.5, 5)]
    late = [replace(a, day=HEALING[-1].day + timedelta(days=7 * (i + 1))) for i, a in enumerate(grown)]
    word = lesion_report([*HEALING, *late]).verdict.word
    assert word is lesion_report(late).verdict.word is VerdictWord.WORSENING


def test_a_worse_finding_beats_the_word_that_stands():
    areas = [*HEALING, after(HEALING, 7, 0.6)]
    assert lesion_report(areas, Findings(infection_up=True)).verdict.word is VerdictWord.WORSENING


def test_two_changes_of_method_in_a_row_still_find_the_last_judged_course():
    areas = [*STANDING, after(STANDING, 7, 3.3)]
    areas.append(after(areas, 7, 3.0, method=Method.TRACED))
    assert lesion_report(areas).verdict.word is VerdictWord.STALLED


def test_a_closure_or_a_long_gap_between_ends_what_stood():
    covered = STANDING[-1].day + timedelta(days=3)
    areas = [*STANDING, after(STANDING, 7, 1.0)]
    assert lesion_report(areas, closed=[covered]).verdict.word is VerdictWord.TOO_EARLY
    zero = [*STANDING, after(STANDING, 7, 0.0, method=Method.TRACED)]
    assert lesion_report([*zero, after(zero, 7, 1.0)]).verdict.word is VerdictWord.TOO_EARLY
    late = [*STANDING, after(STANDING, 57, 3.0)]
    assert lesion_report(late).verdict.word is VerdictWord.TOO_EARLY
