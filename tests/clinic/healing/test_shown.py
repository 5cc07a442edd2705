import json
from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from clinic.healing.fared import OwnCounts
from clinic.healing.own import Own
from clinic.healing.prognosis import PrognosisFacts
from clinic.healing.recalibration import CalibrationLine, Tails
from clinic.healing.report import lesion_report
from clinic.healing.series import Area, square_mm
from clinic.healing.shown import own_from, own_row, recalibrated

DAY = date(2026, 1, 5)
AREAS = [
    Area(DAY + timedelta(days=7 * i), square_mm(a)) for i, a in enumerate((4.0, 3.5, 3.0, 2.6, 2.2, 1.9))
]
PLAIN = lesion_report(AREAS)


def own(level=0.0, slope=1.0, low=0.1, high=0.9, counts=None):
    line = CalibrationLine(level, slope, 60)
    return Own(DAY, "1", line, Tails(low, high, low, 60, 40), counts or OwnCounts())


LINES = st.builds(
    own, st.floats(-3, 3), st.floats(0, 2), st.floats(0.01, 0.4), st.floats(0.5, 1.0, exclude_max=True)
)


def test_without_own_figures_nothing_changes():
    assert recalibrated(PLAIN.forecast, None) is PLAIN.forecast
    assert recalibrated(PLAIN.forecast, Own(DAY, "1", None, None)) is PLAIN.forecast


def test_the_line_that_says_the_same_changes_no_chance_and_no_day():
    same = recalibrated(PLAIN.forecast, own())
    assert same.chance_next_8w == pytest.approx(PLAIN.forecast.chance_next_8w)
    assert (same.low, same.median, same.high) == (
        PLAIN.forecast.low,
        PLAIN.forecast.median,
        PLAIN.forecast.high,
    )


@given(LINES)
def test_what_is_shown_is_a_law_with_its_days_in_order(figures):
    shown = recalibrated(PLAIN.forecast, figures)
    assert all(0.0 <= a <= b <= 1.0 for a, b in zip(shown.weeks, shown.weeks[1:], strict=False))
    assert shown.chance_next_8w == pytest.approx(figures.line.of(PLAIN.forecast.chance_next_8w))
    days = [day for day in (shown.low, shown.median, shown.high) if day is not None]
    assert days == sorted(days)


@given(LINES)
def test_figures_come_back_from_their_row(figures):
    assert own_from(DAY, "1", json.loads(json.dumps(own_row(figures)))) == figures


def test_the_report_judges_and_tells_by_the_own_figures():
    counts = OwnCounts(((1, 25),) * 10)
    report = lesion_report(AREAS, own=own(level=-4.0, counts=counts))
    assert report.forecast.chance_next_8w < PLAIN.forecast.chance_next_8w
    assert report.own.made_on == DAY
    (told,) = [r.text for r in report.verdict.reasons if "Closure within 8 weeks" in r.text]
    assert "of 25 told" in told
    assert "here, 1 closed" in told


def test_facts_move_the_forecast_of_the_first_three_weeks_and_none_later():
    good = PrognosisFacts(AREAS[0].area, False, False, False, False, False, False, 1)
    bad = PrognosisFacts(AREAS[0].area, True, True, True, True, True, True, 3)
    for count in range(3, len(AREAS) + 1):
        low, plain, high = (
            lesion_report(AREAS[:count], facts=facts).forecast.chance_20w for facts in (bad, None, good)
        )
        assert (low < plain < high) if count <= 4 else (low == plain == high)


def test_before_the_third_area_the_facts_alone_speak():
    report = lesion_report(AREAS[:2], facts=PrognosisFacts(AREAS[0].area))
    assert report.forecast is None
    assert report.prognosis.missing == ("is_old", "is_deep")


def test_after_a_long_gap_the_facts_of_the_beginning_say_nothing():
    late = [*AREAS[:2], Area(DAY + timedelta(days=200), square_mm(2.0))]
    assert lesion_report(late, facts=PrognosisFacts(AREAS[0].area)).prognosis is None
