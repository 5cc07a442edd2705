import xml.etree.ElementTree as ET

import pytest

from clinic.charts.errors import ChartError
from clinic.charts.reliability import reliability_svg
from clinic.healing.lookback import ReliabilityBin
from clinic.healing.proportion import wilson

BINS = [
    ReliabilityBin(0.2, 0.4, 0.31, wilson(3, 10)),
    ReliabilityBin(0.6, 0.8, 0.72, wilson(2, 4)),
    ReliabilityBin(0.8, 1.0, 0.9, wilson(18, 20)),
]


def test_each_bin_is_a_titled_point_and_few_outcomes_have_no_interval():
    text = reliability_svg(BINS, "Said and came")
    svg = ET.fromstring(text)  # noqa: S314  our own text
    assert [t.text for t in svg.iter("title")] == [
        "said 31%: 3 of 10 closed",
        "said 72%: 2 of 4 closed",
        "said 90%: 18 of 20 closed",
    ]
    assert [c.get("fill") for c in svg.iter("circle")] == ["currentColor", "none", "currentColor"]
    assert len(list(svg.iter("path"))) == 2 + 2  # diagonal and axes, two intervals
    assert "style" not in text


def test_a_true_word_lies_on_the_diagonal():
    svg = ET.fromstring(reliability_svg([ReliabilityBin(0.8, 1.0, 0.9, wilson(9, 10))], "x"))  # noqa: S314
    (circle,) = svg.iter("circle")
    across = (float(circle.get("cx")) - 48) / 200
    up = (220 - float(circle.get("cy"))) / 208
    assert across == pytest.approx(up, abs=0.01)


def test_no_bin_no_diagram():
    with pytest.raises(ChartError):
        reliability_svg([], "x")
