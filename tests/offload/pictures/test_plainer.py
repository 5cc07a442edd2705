"""Lines on a screen have fewer corners and lie where they lay."""

import math

import shapely
from hypothesis import given
from hypothesis import strategies as st

from offload.core.sheets.drawing import Drawing, DrawingLayer, Path, Text
from offload.pictures.plainer import SEEN_MM, plainer_drawing, plainer_line

places = st.tuples(*(st.integers(-30_000, 30_000).map(lambda n: n / 100.0),) * 2)


@given(st.lists(places, min_size=2, max_size=60))
def test_a_plainer_line_lies_where_the_line_lay_and_has_its_ends(points):
    plain = plainer_line(points)
    assert (plain[0], plain[-1], len(plain) <= len(points)) == (points[0], points[-1], True)
    if len(set(points)) > 1:
        line = shapely.LineString(plain)
        assert max(line.distance(shapely.Point(point)) for point in points) <= SEEN_MM + 1e-9


def test_a_round_outline_needs_a_third_of_its_corners_and_words_stay():
    ring = tuple((40 * math.cos(t / 400 * math.tau), 40 * math.sin(t / 400 * math.tau)) for t in range(400))
    words = Text((0.0, 0.0), "A", 3.0, "middle")
    drawing = Drawing("one", 90.0, 90.0, (DrawingLayer("CUT", (Path(ring, closed=True), words)),))
    path, same = plainer_drawing(drawing).layers[0].items
    assert same == words
    assert len(path.points) <= 133
    assert abs(shapely.Polygon(path.points).area / shapely.Polygon(ring).area - 1.0) < 1e-3
