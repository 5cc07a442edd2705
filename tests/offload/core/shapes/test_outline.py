"""Outlines are checked at the door and measured without sampling."""

import math
import time

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from offload.core.errors import OutlineError
from offload.core.shapes.outline import Outline, ellipse_area, planimetry

SQUARE = ((0.0, 0.0), (10.0, 0.0), (10.0, 10.0), (0.0, 10.0))


def test_a_square_has_its_area_and_perimeter():
    square = Outline(SQUARE)
    assert (square.area, square.perimeter, square.centroid) == (100.0, 40.0, (5.0, 5.0))
    assert square.bounds == (0.0, 0.0, 10.0, 10.0)


def test_a_repeated_last_point_and_doubled_points_change_nothing():
    doubled = Outline((*SQUARE[:2], SQUARE[1], *SQUARE[2:], SQUARE[0]))
    assert doubled.exterior == SQUARE


def test_a_hole_is_left_out_of_the_area_and_counts_for_the_perimeter():
    island = ((4.0, 4.0), (6.0, 4.0), (6.0, 6.0), (4.0, 6.0))
    wound = Outline(SQUARE, (island,))
    assert wound.area == 96.0
    assert wound.perimeter == 48.0
    assert wound.without_holes().area == 100.0


@pytest.mark.parametrize(
    ("points", "words"),
    [
        (((0, 0), (10, 10), (10, 0), (0, 10)), "crosses or touches itself at (5.00, 5.00)"),
        (((0, 0), (4, 0), (4, 4), (2, 0), (0, 4)), "crosses or touches itself at (2.00, 0.00)"),
        (((0, 0), (1, 1)), "has 2 different points; at least 3"),
        (((0, 0), (1, 1), (0, 0), (1, 1)), "has 2 different points; at least 3"),
        (((0, 0), (1, 1), (2, 2)), "area of 0 mm²; the area must be above 0"),
        (((0, 0), (1, math.nan), (2, 2)), "point 2 is (1.0, nan); coordinates must be finite"),
        (((0, 0), (math.inf, 1), (2, 2)), "point 2 is (inf, 1.0); coordinates must be finite"),
        (((0, 0), (1, 1, 1), (2, 2)), "point 2 has 3 coordinates; 2 are needed"),
    ],
)
def test_a_wrong_ring_is_refused_with_the_reason(points, words):
    with pytest.raises(OutlineError) as caught:
        Outline(points, name="wound")
    assert str(caught.value).startswith("wound ")
    assert words in str(caught.value)


def test_a_hole_outside_its_ring_is_refused():
    with pytest.raises(OutlineError, match="wound crosses or touches itself"):
        Outline(SQUARE, (((20.0, 20.0), (21.0, 20.0), (21.0, 21.0)),), name="wound")


def test_length_is_the_longest_chord_and_width_the_longest_across_it():
    rectangle = Outline(((0, 0), (30, 0), (30, 40), (0, 40)))
    measured = planimetry([rectangle])
    assert measured.length == pytest.approx(50.0)
    # Across the diagonal a 30 × 40 rectangle is 30·40/50 · 2 wide only in extent; its longest chord is 37.5.
    assert measured.width == pytest.approx(37.5)


def test_two_parts_are_measured_together():
    left, right = Outline(SQUARE), Outline(tuple((x + 20.0, y) for x, y in SQUARE))
    measured = planimetry([left, right])
    assert measured.area == 200.0
    assert measured.perimeter == 80.0
    assert measured.length == pytest.approx(math.hypot(30, 10))


def test_overlapping_parts_are_refused():
    with pytest.raises(OutlineError, match="parts 1 and 2 overlap"):
        planimetry([Outline(SQUARE), Outline(tuple((x + 5.0, y) for x, y in SQUARE))])


def test_no_parts_are_refused():
    with pytest.raises(OutlineError, match="0 parts; at least 1"):
        planimetry([])


def test_an_ellipse_lies_along_y_and_turns_counter_clockwise():
    upright = Outline.ellipse((1.0, 2.0), 20.0, 10.0)
    assert upright.bounds == pytest.approx((-4.0, -8.0, 6.0, 12.0))
    turned = Outline.ellipse((0.0, 0.0), 20.0, 2.0, 45.0)
    far = max(turned.exterior, key=lambda point: point[1])
    assert far[0] < -6.0  # +y turned counter-clockwise points to −x
    assert upright.area == pytest.approx(ellipse_area(20.0, 10.0), rel=1e-4)
    assert ellipse_area(14.0, 10.0) == pytest.approx(math.pi / 4 * 140)


@settings(max_examples=30)
@given(
    length=st.floats(1, 100),
    share=st.floats(0.1, 0.99),
    angle=st.floats(-180, 180),
    x=st.floats(-50, 50),
    y=st.floats(-50, 50),
)
def test_planimetry_of_an_ellipse_does_not_depend_on_where_it_lies(length, share, angle, x, y):
    measured = planimetry([Outline.ellipse((x, y), length, share * length, angle)])
    assert measured.length == pytest.approx(length, rel=1e-3)
    assert measured.width == pytest.approx(share * length, rel=1e-3)
    assert measured.area == pytest.approx(ellipse_area(length, share * length), rel=1e-4)


def _longest_by_pairs(points):
    return max(math.dist(one, other) for i, one in enumerate(points) for other in points[:i])


def _widest_by_sections(ring, direction):
    """Cut the ring at each corner, side by side, as one would with a ruler."""
    dx, dy = direction
    turned = [(x * dx + y * dy, y * dx - x * dy) for x, y in ring]
    widest = 0.0
    for at, _ in turned:
        cuts = []
        for (a, h), (b, k) in zip(turned, turned[1:] + turned[:1], strict=True):
            if a == b == at:
                cuts += [h, k]
            elif min(a, b) <= at <= max(a, b) and a != b:
                cuts.append(h + (at - a) / (b - a) * (k - h))
        widest = max(widest, max(cuts) - min(cuts))
    return widest


@given(
    st.lists(st.floats(2, 20), min_size=3, max_size=40),
    st.floats(0, 2 * math.pi),
    st.booleans(),
    st.integers(0, 2),
)
def test_length_and_width_are_those_of_a_ruler_laid_between_all_corners(radii, turn, clockwise, digits):
    """Rounded coordinates make parallel sides and corners in line, where a shortcut would slip."""
    n = len(radii)
    ring = [
        (
            round(r * math.cos(turn + 2 * math.pi * i / n), digits),
            round(r * math.sin(turn + 2 * math.pi * i / n), digits),
        )
        for i, r in enumerate(radii)
    ]
    ring = ring[::-1] if clockwise else ring
    try:
        outline = Outline(ring)
    except OutlineError:
        return
    measured = planimetry([outline])
    assert measured.length == pytest.approx(_longest_by_pairs(outline.exterior), rel=1e-12)
    longest = [
        ((x1 - x0) / measured.length, (y1 - y0) / measured.length)
        for i, (x0, y0) in enumerate(outline.exterior)
        for x1, y1 in outline.exterior[:i]
        if math.dist((x0, y0), (x1, y1)) > measured.length * (1 - 1e-9)
    ]
    assert any(
        measured.width == pytest.approx(_widest_by_sections(list(outline.exterior), d), rel=1e-9)
        for d in longest
    )


def test_an_outline_of_six_thousand_points_is_measured_at_once():
    ring = [(20 * math.cos(math.pi * i / 3000), 15 * math.sin(math.pi * i / 3000)) for i in range(6000)]
    began = time.process_time()
    measured = planimetry([Outline(ring)])
    assert time.process_time() - began < 0.5
    assert (measured.length, measured.width) == pytest.approx((40, 30), rel=1e-6)
