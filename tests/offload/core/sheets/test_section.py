import math
from dataclasses import replace

import pytest
from shapely import LineString, Polygon

from offload.core.errors import ReliefError
from offload.core.foam.stack import DEMONSTRATION_STACK, Layer
from offload.core.plan.openings import CutLayer
from offload.core.shapes.outline import Outline
from offload.core.sheets.drawing import Hatch
from offload.core.sheets.section import UnderLoad, layer_names, section_drawing, voids
from tests.offload.core.sheet_plans import plan_of


def foam(drawing, hatch):
    return sum(Polygon(p.points).area for p in drawing.paths("SECTION") if p.hatch == hatch)


def test_a_bevelled_cut_in_the_middle_leaves_the_foam_that_geometry_says():
    # Circle r 10 with 5/10 mm: floor 35 mm long, opening 47 mm at 45° through 6 mm; the void is a trapezoid.
    drawing = section_drawing(plan_of(), "A")
    shown = 47 + 2 * 8
    assert foam(drawing, Hatch.MIDDLE) == pytest.approx(shown * 6 - (35 + 47) / 2 * 6, abs=0.2)
    assert foam(drawing, Hatch.COVER) == pytest.approx(shown * 3, abs=0.1)
    assert foam(drawing, Hatch.BASE) == pytest.approx(shown * 6, abs=0.2)


def test_the_lengths_of_opening_and_floor_stand_in_words():
    texts = section_drawing(plan_of(), "A").texts()
    assert "opening, top of middle 47.0 mm" in texts
    assert "floor 35.0 mm" in texts
    assert {"heel", "toes", "foot", "cover 3 mm", "middle 6 mm", "base 6 mm"} <= set(texts)


def test_a_cut_in_the_base_leaves_cover_and_middle_whole():
    drawing = section_drawing(plan_of(cut=("base",)), "A")
    assert foam(drawing, Hatch.MIDDLE) == pytest.approx(63 * 6, abs=0.2)
    assert foam(drawing, Hatch.BASE) == pytest.approx(63 * 6 - 41 * 6, abs=0.2)


def test_an_upright_blade_gives_an_upright_wall():
    drawing = section_drawing(plan_of(bevel=90.0), "A")
    assert foam(drawing, Hatch.MIDDLE) == pytest.approx((35 + 16) * 6 - 35 * 6, abs=0.2)


def test_a_section_that_is_too_long_is_drawn_smaller_says_so_and_keeps_its_figures():
    drawing = section_drawing(plan_of(), "A", max_width=70.0)
    assert drawing.width <= 70.0
    assert "0.80 of true size" in drawing.title
    assert drawing.title in drawing.texts()
    assert "floor 35.0 mm" in drawing.texts()
    assert foam(drawing, Hatch.COVER) == pytest.approx(63 * 3 * 0.80**2, abs=0.2)


def test_both_directions_have_one_scale():
    true, small = section_drawing(plan_of(), "A"), section_drawing(plan_of(), "A", max_width=70.0)
    for axis in (0, 1):
        spans = []
        for drawing in (true, small):
            values = [point[axis] for path in drawing.paths("SECTION") for point in path.points]
            spans.append(max(values) - min(values))
        assert spans[1] / spans[0] == pytest.approx(0.8)


def test_two_middles_are_numbered():
    stack = (*DEMONSTRATION_STACK[:2], Layer("middle", "medium", 4.0), DEMONSTRATION_STACK[2])
    plan = plan_of(stack=stack)
    assert layer_names(plan) == ("cover", "middle 1", "middle 2", "base")
    assert "middle 2 4 mm" in section_drawing(plan, "A").texts()


def test_a_line_that_meets_only_the_bevel_gives_a_groove_of_that_angle():
    top = Outline(((0.0, 0.0), (20.0, 0.0), (20.0, 20.0), (0.0, 20.0)))
    bottom = Outline(((6.0, 6.0), (14.0, 6.0), (14.0, 14.0), (6.0, 14.0)))
    cut = CutLayer(1, "middle", top, bottom)
    assert voids(cut, 10.0, 6.0, 45.0).area == pytest.approx((20 + 8) / 2 * 6)
    assert voids(cut, 3.0, 6.0, 45.0).area == pytest.approx(20 * 6 / 2)  # capped at the thickness
    assert voids(cut, 30.0, 6.0, 45.0).is_empty


def test_a_ridge_between_two_floors_under_one_opening_rises_at_the_bevel():
    u = ((0, 0), (30, 0), (30, 30), (0, 30), (0, 18), (20, 18), (20, 12), (0, 12))
    top = Outline(((-5.0, -5.0), (35.0, -5.0), (35.0, 35.0), (-5.0, 35.0)))
    cut = CutLayer(1, "middle", top, Outline(tuple((float(a), float(b)) for a, b in u)))
    void = voids(cut, 5.0, 5.0, 45.0)
    assert void.area == pytest.approx((40 + 30) / 2 * 5 - 6 * 3 / 2)
    assert not void.intersects(LineString([(15, 0.5), (15, 2.5)]))


def test_the_section_does_not_depend_on_the_side():
    left, right = (section_drawing(plan_of(side), "A") for side in ("left", "right"))
    assert left == right


def test_foam_ends_where_the_insole_ends():
    plan = plan_of(lesions=(("A", (0.0, 238.0), 6.0, 6.0),))
    end = plan.insole.outline.polygon.intersection(LineString([(0, 200), (0, 400)])).bounds[3]
    low = min(238.0 - 6 - 5 - 6, 238) - 8
    points = [
        p
        for path in section_drawing(plan, "A").paths("SECTION")
        if path.hatch == Hatch.COVER
        for p in path.points
    ]
    assert max(p[0] for p in points) == pytest.approx(end - low, abs=0.1)


def test_an_unknown_label_and_a_hopeless_width_are_refused():
    with pytest.raises(ReliefError, match="label: Z given, must be one of A"):
        section_drawing(plan_of(), "Z")
    with pytest.raises(ReliefError, match="max_width: 20 mm"):
        section_drawing(plan_of(), "A", max_width=20.0)


def test_an_oblique_bevel_is_drawn_at_its_angle():
    plan = plan_of(bevel=60.0)
    texts = section_drawing(plan, "A").texts()
    assert f"opening, top of middle {35 + 2 * 6 / math.tan(math.radians(60)):.1f} mm" in texts
    assert section_drawing(replace(plan, reasons=()), "A") == section_drawing(plan, "A")


def test_the_roof_is_drawn_where_it_sags_to_and_not_where_the_face_above_it_does():
    """The cover is squeezed or lifts off the roof, so face and roof come down by different measures."""
    plan = plan_of()
    y = [170.0, 175.0, 180.0, 185.0, 190.0]
    told = UnderLoad(
        y,
        descent=[1.0, 3.0, 4.0, 3.0, 1.0],
        void=[0.0, 6.0, 6.0, 6.0, 0.0],
        still_open=[0.0, 4.0, 3.5, 5.0, 0.0],
        left=3.5,
    )
    face, roof = (
        [v for _, v in path.points]
        for path in section_drawing(plan, "A", max_width=200.0, under_load=told).paths("LOADED")
    )
    top, cover = face[0] + 1.0, plan.spec.stack[0].thickness
    assert [round(top - v, 6) for v in face] == [1.0, 3.0, 4.0, 3.0, 1.0]
    assert [round(top - cover - v, 6) for v in roof] == [2.0, 2.5, 1.0]


@pytest.mark.parametrize("width", [70.0, 90.0])
def test_a_section_under_load_is_for_a_page_and_claims_no_size(width):
    flat = UnderLoad([170.0, 190.0], descent=[0.0, 0.0], void=[6.0, 6.0], still_open=[6.0, 6.0], left=6.0)
    texts = section_drawing(plan_of(), "A", max_width=width, under_load=flat).texts()
    assert not [text for text in texts if "true size" in text]
