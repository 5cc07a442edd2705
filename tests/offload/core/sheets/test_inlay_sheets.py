"""An inlay on the sheets: its line, its own piece with its identity, its hatch in the section."""

from __future__ import annotations

from dataclasses import replace

import pytest
import shapely

from offload.core.plan.compute import compute
from offload.core.plan.inlays import inlays_in
from offload.core.sheets.drawing import Hatch, Path, Text, text_width
from offload.core.sheets.identity import inlay_lines
from offload.core.sheets.plan_drawing import insole_drawing
from offload.core.sheets.section import section_drawing
from offload.core.sheets.sheet import cutting_drawing, template_drawing
from offload.core.sheets.sheet_blocks import SheetLabel
from offload.core.sheets.sheet_code import sheet_code
from tests.offload.core.plan.test_inlays import SQUARE, ringed, with_inlay

LABEL = SheetLabel(sheet_code(b"inlay"), 3)
PLANS = {
    "ring in the cut layer": compute(ringed(1, "soft")),
    "under the ulcer in the base": compute(ringed(2, "soft")),
    "two": compute(with_inlay(ringed(1, "soft"), 2, "medium", SQUARE)),
}
each = pytest.mark.parametrize("plan", PLANS.values(), ids=PLANS)


def lines_within(drawing, ring):
    """Words of the identity that lie wholly in a ring of the drawing."""
    found = []
    for layer in drawing.layers:
        if layer.name != "IDENTITY":
            continue
        for one in layer.items:
            if isinstance(one, Text):
                half = text_width(one.text, one.size) / 2
                (x, y), up = one.at, bool(one.angle)
                ends = [(x, y - half), (x, y + half)] if up else [(x - half, y), (x + half, y)]
                if ring.contains(shapely.LineString(ends)):
                    found.append(one.text)
    return tuple(found)


@each
def test_each_inlay_is_cut_along_one_line_and_says_within_it_whose_it_is(plan):
    sheet = cutting_drawing(plan, LABEL)
    for placed in inlays_in(plan.spec.stack):
        name = f"INLAY_{placed.layer.role.upper()}"
        rings = [one for one in sheet.paths(name) if isinstance(one, Path) and one.pen is not None]
        polygons = [shapely.Polygon(one.points) for one in rings]
        assert [round(one.area, 1) for one in polygons] == [round(placed.inlay.region.area, 1)]
        inside = [lines_within(sheet, one) for one in polygons][0]
        assert any(set(lines) <= set(inside) for lines in inlay_lines(plan, LABEL, placed)), inside


@each
def test_every_layer_with_an_inlay_has_its_own_page_with_order_and_steps(plan):
    pages = template_drawing(plan, LABEL)
    words = [" ".join(page.texts()) for page in pages]
    wanted = len(plan.sheet_indices)
    assert any(f"Layer {wanted} of {wanted} to cut" in one for one in words)
    for placed in inlays_in(plan.spec.stack):
        own = [page for page in pages if page.paths(f"INLAY_{placed.layer.role.upper()}")]
        assert own
        assert all("Cut the hole of inlay" in " ".join(page.texts()) for page in own)
        assert placed.inlay.foam in " ".join(own[0].texts())


@each
def test_the_section_tells_the_inlay_apart_by_hatch_and_word(plan):
    drawing = section_drawing(plan, "A")
    shown = [one for one in drawing.paths("SECTION") if one.hatch is Hatch.INLAY]
    assert shown
    assert any("inlay soft" in text for text in drawing.texts())


@each
def test_the_bench_shows_the_inlay_with_its_hatch(plan):
    names = [layer.name for layer in insole_drawing(plan).layers]
    assert [name for name in names if name.startswith("INLAY_")]


def test_a_plan_without_inlays_draws_no_line_of_one():
    plan = compute(ringed(1, "soft"))
    bare = compute(with_inlay_removed(plan.spec))
    for drawing in (cutting_drawing(bare, LABEL), *template_drawing(bare, LABEL)):
        assert not any("nlay" in text for text in drawing.texts())
        assert not any(layer.name.startswith("INLAY") for layer in drawing.layers)


def with_inlay_removed(spec):
    return replace(spec, stack=tuple(replace(layer, inlays=()) for layer in spec.stack))
