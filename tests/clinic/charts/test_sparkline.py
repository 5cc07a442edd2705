import xml.etree.ElementTree as ElementTree
from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from clinic.charts.errors import ChartError
from clinic.charts.sparkline import sparkline_svg

DAY = date(2026, 1, 5)


def visits(*areas):
    return [(DAY + timedelta(days=7 * i), a) for i, a in enumerate(areas)]


def test_a_missed_visit_leaves_a_gap_and_a_lone_area_stays_visible():
    drawn = sparkline_svg(visits(4.0, 3.0, None, 2.0, None, 1.0))
    path = ElementTree.fromstring(drawn)[0].get("d")  # noqa: S314  our own output
    assert path.count("M") == 3
    assert path.count("h0") == 2


def test_it_carries_no_style_and_a_name_only_on_request():
    plain = sparkline_svg(visits(4.0, 3.0))
    assert "style=" not in plain
    assert 'aria-hidden="true"' in plain
    assert 'aria-label="a &lt; &quot;b&quot;"' in sparkline_svg(visits(4.0), label='a < "b"')


@pytest.mark.parametrize(
    ("given_visits", "words"),
    [
        (visits(-1.0), "0 or more"),
        (visits(float("nan")), "0 or more"),
        ([(DAY, 1.0), (DAY, 2.0)], "days must rise"),
    ],
)
def test_impossible_visits_are_refused(given_visits, words):
    with pytest.raises(ChartError, match=words):
        sparkline_svg(given_visits)


def test_a_size_too_small_is_refused():
    with pytest.raises(ChartError, match="at least 8"):
        sparkline_svg([], width=4)


@given(st.lists(st.none() | st.floats(0, 1e5), max_size=12))
def test_every_series_is_well_formed_and_inside_its_box(areas):
    root = ElementTree.fromstring(sparkline_svg(visits(*areas)))  # noqa: S314 - our own output
    for dot in root.iter("circle"):
        assert 0 <= float(dot.get("cx")) <= 96
        assert 0 <= float(dot.get("cy")) <= 24
