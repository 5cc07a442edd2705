import xml.etree.ElementTree as ET

import pytest

from offload.core.sheets.drawing import DASHED, Box, Drawing, DrawingLayer, Hatch, Pen, Text, line, rectangle
from offload.core.sheets.writers.svg import write_svg

SVG = "{http://www.w3.org/2000/svg}"


def parsed(drawing):
    return ET.fromstring(write_svg(drawing))  # noqa: S314 - our own bytes


@pytest.fixture
def root():
    items = (
        rectangle(Box(10, 20, 40, 60), hatch=Hatch.BASE),
        rectangle(Box(50, 20, 60, 60), pen=None, hatch=Hatch.COVER),
        line((0, 0), (5, 5), pen=DASHED),
        line((0, 0), (5, 6), pen=Pen(0.5, shade=0.75)),
        Text((12, 15), "a < b & c", 4, "middle", True, 30, 0.5),
    )
    return parsed(Drawing('Sheet "A" & b', 210, 297, (DrawingLayer("CUT_MIDDLE_TOP", items),)))


def test_one_unit_is_one_millimetre(root):
    assert (root.get("width"), root.get("height")) == ("210mm", "297mm")
    assert root.get("viewBox") == "0 0 210 297"


def test_y_is_turned_once_and_coordinates_are_kept(root):
    polygon = root.find(f".//{SVG}g/{SVG}polygon")
    assert polygon.get("points") == "10,277 40,277 40,237 10,237"


def test_layers_become_classed_groups(root):
    assert root.find(f"{SVG}g").get("class") == "drawing-cut-middle-top"


def test_no_element_carries_a_style_or_a_script(root):
    for element in root.iter():
        assert "style" not in element.attrib
        assert not any(name.startswith("on") for name in element.attrib)
        assert element.tag not in (f"{SVG}style", f"{SVG}script")


def test_every_hatch_used_has_its_pattern(root):
    patterns = {p.get("id") for p in root.iter(f"{SVG}pattern")}
    fills = {p.get("fill") for p in root.iter(f"{SVG}polygon")}
    assert fills == {f"url(#{i})" for i in patterns}
    assert len(patterns) == 2


def test_text_is_escaped_turned_and_faint(root):
    text = root.find(f".//{SVG}text")
    assert text.text == "a < b & c"
    assert text.get("transform") == "rotate(-30 12 282)"
    assert text.get("fill-opacity") == "0.5"
    assert root.get("aria-label") == root.find(f"{SVG}title").text == 'Sheet "A" & b'


def test_two_drawings_in_one_page_share_no_id():
    def ids(drawing):
        return {e.get("id") for e in parsed(drawing).iter() if e.get("id")}

    one = Drawing("a", 10, 10, (DrawingLayer("A", (rectangle(Box(1, 1, 2, 2), hatch=Hatch.BASE),)),))
    two = Drawing("b", 10, 10, (DrawingLayer("A", (rectangle(Box(1, 1, 2, 3), hatch=Hatch.BASE),)),))
    assert ids(one)
    assert not ids(one) & ids(two)


def test_two_runs_give_the_same_bytes():
    drawing = Drawing("a", 10, 10, (DrawingLayer("A", (rectangle(Box(1, 1, 2, 2), hatch=Hatch.BASE),)),))
    assert write_svg(drawing) == write_svg(drawing)
