"""Cut into its pieces, every drawing says of each piece whose it is: side, face, code, layer and order."""

from __future__ import annotations

import re

import ezdxf
import pytest
import shapely
import shapely.affinity

from offload.core.foam.stack import DEMONSTRATION_STACK, Layer
from offload.core.sheets.drawing import Path, Text, text_width
from offload.core.sheets.identity import LEAST_PIECE, identity_lines
from offload.core.sheets.plan_drawing import drawn_bounds, drawn_point
from offload.core.sheets.sheet import PAPERS, cutting_drawing, template_drawing
from offload.core.sheets.sheet_blocks import SheetLabel
from offload.core.sheets.sheet_code import sheet_code
from offload.core.sheets.sheet_layout import sheet_layout
from offload.core.sheets.writers.dxf import write_dxf
from offload.core.sheets.writers.svg import write_svg
from tests.offload.core.sheet_plans import plan_of

LABEL = SheetLabel(sheet_code(b"one"), 2)
OTHER = SheetLabel(sheet_code(b"another"), 2)
TWO = (("A", (-24.0, 200.0), 8.0, 7.0), ("B", (18.0, 140.0), 7.0, 6.0))
BIG = (("A", (0.0, 185.0), 18.0, 14.0),)
PLANS = {
    "left": plan_of("left", 255.0),
    "large ulcer": plan_of("right", 275.0, BIG, cut=("middle", "base")),
    "two ulcers": plan_of("right", 255.0, TWO, cut=("middle", "base")),
    "notch": plan_of("left", 255.0, (("A", (-30.0, 185.0), 9.0, 8.0),)),
    "heel": plan_of("left", 270.0, (("A", (0.0, 35.0), 14.0, 12.0),)),
    "long": plan_of("right", 350.0, (("A", (0.0, 300.0), 16.0, 14.0),)),
    "child": plan_of("left", 130.0, (("A", (0.0, 90.0), 3.0, 3.0),)),
    "three layers": plan_of(
        "left",
        260.0,
        stack=(*DEMONSTRATION_STACK[:2], Layer("middle", "medium", 4.0), DEMONSTRATION_STACK[2]),
        cut=("middle", "base"),
        lesions=(("A", (0.0, 170.0), 16.0, 14.0),),
    ),
}
each = pytest.mark.parametrize("plan", PLANS.values(), ids=PLANS)


def pieces(drawing, name):
    """What one layer's lines cut the drawing into."""
    paths = [*drawing.paths("OUTLINE"), *drawing.paths(name)]
    lines = [
        shapely.LineString([*one.points, one.points[0]] if one.closed else one.points)
        for one in paths
        if isinstance(one, Path)
    ]
    return [one for one in shapely.polygonize([shapely.unary_union(lines)]).geoms if one.area >= LEAST_PIECE]


def rooms(drawing):
    found = {}
    for layer in drawing.layers:
        for item in layer.items if layer.name == "IDENTITY" else ():
            width, size, (x, y) = text_width(item.text, item.size), item.size, item.at
            if item.angle:
                room = shapely.box(x - size * 0.75, y - width / 2, x + size * 0.2, y + width / 2)
            else:
                room = shapely.box(x - width / 2, y - size * 0.2, x + width / 2, y + size * 0.75)
            found.setdefault(item.text, []).append(room)
    return found


def is_named(piece, drawing, lines):
    told = rooms(drawing)
    return all(any(piece.contains(room) for room in told.get(words, [])) for words in lines)


def cut_names(drawing, face):
    return [one.name for one in drawing.layers if one.name.startswith("CUT_") and one.name.endswith(face)]


@each
@pytest.mark.parametrize("face", ["TOP", "FLOOR"])
def test_each_piece_of_the_cutting_drawing_carries_its_identity(plan, face):
    drawing = cutting_drawing(plan, LABEL)
    names = cut_names(drawing, face)
    assert len(names) == len(plan.cut_indices)
    for index, name in zip(plan.cut_indices, names, strict=True):
        found = pieces(drawing, name)
        assert found
        for piece in found:
            assert is_named(piece, drawing, identity_lines(plan, LABEL, index)), (name, piece.area)


def tile_pieces(plan, paper, tile, index):
    """What a page's part of the insole is cut into, where it lies on the page."""
    layout, bounds = sheet_layout(plan, paper), drawn_bounds(plan)
    low, high = layout.tiles[tile]
    left, up = layout.window.left - bounds.left, layout.window.top - layout.shown(tile)[1]

    def on_page(outline):
        return shapely.Polygon([drawn_point(point, plan.spec.side) for point in outline.exterior])

    insole = on_page(plan.insole.outline)
    tops = [on_page(cut.top) for o in plan.openings for cut in o.layers if cut.index == index]
    shown = shapely.box(-1e3, low, 1e3, high)
    parts = [insole.difference(shapely.union_all(tops)), *tops]
    for part in (one.intersection(shown) for one in parts):
        for piece in getattr(part, "geoms", [part]):
            if piece.area >= LEAST_PIECE:
                yield shapely.affinity.translate(piece, left, up)


@each
@pytest.mark.parametrize("paper", list(PAPERS))
def test_each_piece_of_each_page_carries_its_identity(plan, paper):
    tiles = len(sheet_layout(plan, paper).tiles)
    pages = [page for page in template_drawing(plan, LABEL, paper=paper) if cut_names(page, "TOP")]
    assert len(pages) == tiles * len(plan.cut_indices)
    for number, page in enumerate(pages):
        index = plan.cut_indices[number // tiles]
        found = list(tile_pieces(plan, paper, number % tiles, index))
        assert found
        for piece in found:
            assert is_named(piece, page, identity_lines(plan, LABEL, index)), (number, piece.bounds)


@each
def test_no_two_sheets_say_the_same(plan):
    lines = {identity_lines(plan, label, index) for label in (LABEL, OTHER) for index in plan.cut_indices}
    assert len(lines) == 2 * len(plan.cut_indices)
    assert all(LABEL.side_word(plan.spec.side) in one[0] for one in lines)
    assert all(one[2] == "foot side up" for one in lines)


def test_identities_cover_neither_one_another_nor_the_words_that_stand_there():
    for plan in PLANS.values():
        drawing = cutting_drawing(plan, LABEL)
        inside = [room for group in rooms(drawing).values() for room in group]
        for place, one in enumerate(inside):
            assert all(not one.intersects(other) for other in inside[place + 1 :])


def test_the_files_hold_what_the_drawing_holds(tmp_path):
    plan = PLANS["large ulcer"]
    drawing = cutting_drawing(plan, LABEL)
    told = sorted(
        i.text for lay in drawing.layers if lay.name == "IDENTITY" for i in lay.items if isinstance(i, Text)
    )
    assert len(told) == 3 * 4  # two layers, each with its rest and its cut-out
    (group,) = re.findall(r'<g class="drawing-identity">(.*?)</g>', write_svg(drawing).decode(), re.DOTALL)
    assert sorted(re.findall(r"<text [^>]*>([^<]*)</text>", group)) == told
    (tmp_path / "plan.dxf").write_bytes(write_dxf(drawing))
    document = ezdxf.readfile(tmp_path / "plan.dxf")
    found = [one.dxf.text for one in document.modelspace().query("TEXT") if one.dxf.layer == "IDENTITY"]
    assert sorted(found) == told
