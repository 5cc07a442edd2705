"""The pictures of the contact check are drawn from the plan's own layers and tell the results apart."""

from __future__ import annotations

import pytest
import shapely

from offload.core.errors import ReliefError
from offload.core.foam.stack import DEMONSTRATION_STACK, Layer
from offload.core.sheets.contact_pictures import MARK, contact_pictures
from offload.core.sheets.drawing import Hatch, Path


def slabs(drawing, hatch):
    paths = drawing.paths("CONTACT")
    return shapely.union_all([shapely.Polygon(one.points) for one in paths if one.hatch == hatch])


def marks(drawing):
    return [one for one in drawing.paths("CONTACT") if one.pen == MARK]


@pytest.mark.parametrize("cut", [("middle",), ("base",), ("middle", "base")])
@pytest.mark.parametrize("method", ["marker", "film"])
def test_the_dummy_fills_what_the_cut_took_out(cut, method):
    drawn = contact_pictures(DEMONSTRATION_STACK, cut, method)
    for role, hatch in (("middle", Hatch.MIDDLE), ("base", Hatch.BASE)):
        filled = slabs(drawn["dummy"], hatch).area - slabs(drawn["empty"], hatch).area
        assert (filled > 100) == (role in cut)
        assert slabs(drawn["lay"], hatch).area == pytest.approx(slabs(drawn["empty"], hatch).area)


def test_results_differ_in_their_marks_and_a_thicker_layer_is_drawn_thicker():
    drawn = contact_pictures(DEMONSTRATION_STACK, ("middle",), "marker")
    assert [len(marks(drawn[name])) for name in ("clean", "touched")] == [0, 1]
    assert len({repr(one.layers) for one in drawn.values()}) == len(drawn)
    thick = (Layer("cover", "soft", 3.0), Layer("middle", "medium", 12.0), Layer("base", "firm", 6.0))
    assert contact_pictures(thick, ("middle",), "marker")["lay"].height == drawn["lay"].height + 6.0


def test_the_film_lies_on_the_base_of_the_opening_and_the_marker_under_the_cover():
    marker, film = (
        contact_pictures(DEMONSTRATION_STACK, ("base",), name)["lay"] for name in ("marker", "film")
    )
    cover = slabs(marker, Hatch.COVER).bounds[1]
    (line,) = marks(marker)
    assert 0 < cover - max(y for _, y in line.points) < 1.0
    strip = next(one for one in film.paths("CONTACT") if isinstance(one, Path) and not one.closed)
    assert min(y for _, y in strip.points) < slabs(film, Hatch.BASE).bounds[3] - 5.0


def test_another_way_is_refused():
    with pytest.raises(ReliefError, match="marker, film"):
        contact_pictures(DEMONSTRATION_STACK, ("base",), "guess")
