import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from shapely import Polygon

from offload.core.errors import ReliefError
from offload.core.sheets.drawing import (
    Box,
    Drawing,
    DrawingLayer,
    Hatch,
    Path,
    Pen,
    ScaleBar,
    Text,
    circle,
    clipped,
    line,
    rectangle,
    text_width,
    wrap,
)


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ({"points": ((0, 0),)}, "at least 2"),
        ({"points": ((0, 0), (1, 0)), "closed": True}, "at least 3"),
        ({"points": ((0, 0), (1, math.nan))}, "finite"),
        ({"points": ((0, 0), (1, 0), (1, 1), (0, 0)), "closed": True}, "does not repeat"),
        ({"points": ((0, 0), (1, 0)), "hatch": Hatch.BASE}, "closed path"),
    ],
)
def test_a_path_that_cannot_be_drawn_is_refused_in_one_sentence(arguments, message):
    with pytest.raises(ReliefError, match=message):
        Path(**arguments)


@pytest.mark.parametrize("width", [0, -1, math.inf, math.nan])
def test_a_drawing_without_a_finite_size_is_refused(width):
    with pytest.raises(ReliefError, match="drawing width"):
        Drawing("t", width, 10, ())


@pytest.mark.parametrize("vertical", [False, True])
def test_the_ink_of_a_scale_bar_is_exactly_its_length(vertical):
    paths = [p for p in ScaleBar((20, 30), vertical=vertical).parts() if isinstance(p, Path)]
    along = 1 if vertical else 0
    low, high = math.inf, -math.inf
    for path in paths:
        for point in path.points:
            low = min(low, point[along] - path.pen.width / 2)
            high = max(high, point[along] + path.pen.width / 2)
    assert high - low == pytest.approx(100.0, abs=1e-9)
    assert low == pytest.approx((20, 30)[along], abs=1e-9)


def test_a_scale_bar_has_a_tick_every_ten_millimetres():
    ticks = [p for p in ScaleBar((0, 0)).parts() if isinstance(p, Path) and p.pen == Pen(0.15)]
    assert [round(t.points[0][0], 9) for t in ticks] == [10, 20, 30, 40, 50, 60, 70, 80, 90]


def test_a_card_with_rounded_corners_has_the_known_area():
    # ISO/IEC 7810 ID-1: 85.60 x 53.98 mm with 3.18 mm corners: 85.60·53.98 - (4 - π)·3.18² = 4612.01 mm².
    card = rectangle(Box(0, 0, 85.60, 53.98), radius=3.18)
    assert Polygon(card.points).area == pytest.approx(4612.01, abs=0.1)
    assert (card.bounds.width, card.bounds.height) == pytest.approx((85.60, 53.98))


def test_a_circle_has_its_corners_on_the_circle():
    assert {round(math.dist(p, (3, 4)), 9) for p in circle((3, 4), 7).points} == {7.0}


def test_moving_a_drawing_scales_its_paths_and_keeps_the_size_of_its_letters():
    drawing = Drawing("t", 10, 10, (DrawingLayer("A", (line((0, 0), (4, 0)), Text((2, 2), "x", 3.0))),))
    (layer,) = drawing.moved(10, 20, 0.5)
    path, text = layer.items
    assert path.points == ((10, 20), (12, 20))
    assert (text.at, text.size) == ((11, 21), 3.0)


def test_clipping_keeps_the_hatch_inside_and_draws_no_line_along_the_window():
    square = rectangle(Box(0, 0, 10, 10), hatch=Hatch.MIDDLE)
    parts = clipped([square], Box(5, -5, 20, 20))
    filled = [p for p in parts if p.hatch is not None]
    strokes = [p for p in parts if p.hatch is None]
    assert [Polygon(p.points).area for p in filled] == [50]
    assert all(p.pen is None for p in filled)
    drawn = sum(math.dist(a, b) for p in strokes for a, b in zip(p.points, p.points[1:], strict=False))
    assert drawn == pytest.approx(20)


def test_clipping_returns_an_inner_path_as_it_is_and_drops_an_outer_one():
    inside, outside = rectangle(Box(1, 1, 2, 2)), rectangle(Box(30, 30, 40, 40))
    assert clipped([inside, outside], Box(0, 0, 10, 10)) == (inside,)


@given(st.floats(-5, 15), st.floats(0.5, 20))
def test_two_tiles_of_a_clipped_outline_add_up_to_the_whole(cut, size):
    ring = circle((5, 5), 5)
    low = clipped([ring], Box(-20, -20, 40, cut))
    high = clipped([ring], Box(-20, cut, 40, 40))

    def drawn(paths):
        rings = [p.points + (p.points[:1] if p.closed else ()) for p in paths]
        return sum(math.dist(a, b) for r in rings for a, b in zip(r, r[1:], strict=False))

    assert drawn(low) + drawn(high) == pytest.approx(drawn([ring]), abs=1e-6)


def test_the_estimated_width_of_a_line_is_never_far_below_the_printed_one():
    from reportlab.pdfbase.pdfmetrics import stringWidth

    for text in (
        "Cut order: middle, then base.",
        "Confirm by in-shoe measurement and skin inspection.",
        "NOT SIGNED – do not cut",
        "99.5–100.5 mm",
        "MMWW LEFT foot side up",
    ):
        for bold, font in ((False, "Helvetica"), (True, "Helvetica-Bold")):
            assert text_width(text, 3.0, bold=bold) >= 0.98 * stringWidth(text, font, 3.0)


@given(st.lists(st.text("abcdefgh", min_size=1, max_size=12), min_size=1, max_size=30), st.floats(25, 90))
def test_wrapping_loses_no_word_and_keeps_to_the_width(words, width):
    lines = wrap(" ".join(words), 3.0, width)
    assert " ".join(lines).split() == words
    assert all(text_width(row, 3.0) <= width for row in lines if " " in row)


def test_texts_and_paths_can_be_asked_by_layer():
    bar = ScaleBar((0, 0), label="100 mm")
    drawing = Drawing(
        "t", 10, 10, (DrawingLayer("SCALE", (bar,)), DrawingLayer("A", (line((0, 0), (1, 1)),)))
    )
    assert drawing.texts() == ("100 mm",)
    assert len(drawing.paths("SCALE")) == 12
    assert len(drawing.paths("A")) == 1
