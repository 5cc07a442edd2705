import xml.etree.ElementTree as ET

import pytest

from clinic.charts.errors import ChartError
from clinic.charts.funnel import funnel_svg

POINTS = [("Alder", 80, 100), ("Birch <&>", 39, 100), ("Cedar", 20, 100), ("Dill", 6, 8)]


def test_every_clinic_is_a_titled_point_and_its_shape_tells_the_limits():
    svg = ET.fromstring(funnel_svg(POINTS, 0.5, "Agreement"))  # noqa: S314  our own text
    name = "{http://www.w3.org/2000/svg}" if svg.tag.startswith("{") else ""
    titles = [t.text for t in svg.iter(f"{name}title")]
    assert titles == ["Alder: 80 of 100", "Birch <&>: 39 of 100", "Cedar: 20 of 100", "Dill: 6 of 8"]
    assert len(list(svg.iter(f"{name}rect"))) == 1  # 39 of 100 lies outside 95 % only
    assert len(list(svg.iter(f"{name}circle"))) == 1
    assert "style" not in funnel_svg(POINTS, 0.5, "Agreement")


def test_no_point_no_funnel():
    with pytest.raises(ChartError):
        funnel_svg([], 0.5, "Agreement")
