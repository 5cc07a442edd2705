from datetime import date, timedelta

import pytest

from clinic.healing.report import lesion_report, lesion_reports
from clinic.healing.series import Area, square_mm
from clinic.healing.verdict import Findings, VerdictWord

DAY = date(2026, 1, 5)


def weekly(*cm2):
    return [Area(DAY + timedelta(days=7 * i), square_mm(a)) for i, a in enumerate(cm2)]


def test_a_reopened_wound_is_judged_from_its_reopening():
    report = lesion_report(weekly(3, 2, 0, 0, 0.5, 0.4))
    assert report.forecast is None
    assert report.verdict.word is VerdictWord.TOO_EARLY
    assert report.progress.n == 2


def test_a_covered_wound_has_no_forecast():
    areas = weekly(4.0, 3.0, 2.0, 1.0)
    assert lesion_report(areas).forecast is not None
    assert lesion_report(areas, Findings(covered=True)).forecast is None
    assert lesion_report(areas, Findings(healed_confirmed=True)).forecast is None


def test_across_two_years_nothing_is_bridged():
    areas = [*weekly(3.0, 2.5), Area(DAY + timedelta(days=737), 200.0)]
    report = lesion_report(areas)
    assert report.forecast is None
    assert report.progress.reduction_4w is None
    assert "after a gap of 104 weeks" in report.verdict.reasons[0].text


def test_the_verdict_knows_the_standing_of_the_forecast():
    report = lesion_report(weekly(3.0, 3.0, 2.9, 3.1, 3.0, 2.9))
    assert report.forecast.still + report.forecast.growing > 0.5
    assert report.verdict.word is VerdictWord.STALLED


def test_many_reports_at_once_say_what_each_says_alone():
    wounds = [weekly(4.0, 3.0, 2.0, 1.0), weekly(3, 2, 0, 0, 0.5, 0.4), weekly(2.0)]
    for areas, report in zip(wounds, lesion_reports(wounds), strict=True):
        alone = lesion_report(areas)
        assert (report.run, report.progress, report.verdict) == (alone.run, alone.progress, alone.verdict)
        assert (report.forecast is None) == (alone.forecast is None)
        if report.forecast is not None:
            assert report.forecast.chance_next_8w == pytest.approx(alone.forecast.chance_next_8w, abs=1e-9)
            assert report.forecast.high == alone.forecast.high
