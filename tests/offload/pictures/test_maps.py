"""A measured map drawn as read and on the insole."""

import re
import xml.etree.ElementTree as ElementTree

import pytest

from offload.core.pressure.measured import MeasuredGrid, place_grid
from offload.core.shapes.insole import insole_for
from offload.core.sheets.plan_drawing import drawn_point
from offload.pictures.maps import grid_picture, map_picture
from tests.factories import heel_and_forefoot

NAME = "{http://www.w3.org/2000/svg}"
GRID = MeasuredGrid(tuple(map(tuple, heel_and_forefoot())), (5.0, 5.0), "peak")
MARKS = ("heel", "metatarsal_head_2")


def parsed(picture):
    return ElementTree.fromstring(f"<div>{picture}</div>")  # noqa: S314  our own


def test_the_sides_of_the_grid_are_marked_every_fifty_millimetres_from_heel_and_big_toe_side():
    for side, expected in (("right", ["0", "50"]), ("left", ["50", "0"])):
        root = parsed(grid_picture(GRID, side))
        texts = [t for t in root[0].iter(f"{NAME}text")]
        below = sorted(
            (t for t in texts if t.get("text-anchor") == "middle"), key=lambda t: float(t.get("x"))
        )
        beside = sorted((t for t in texts if t.get("text-anchor") == "end"), key=lambda t: -float(t.get("y")))
        assert [t.text for t in below] == expected
        assert [t.text for t in beside] == ["0", "50", "100", "150", "200", "250"]


@pytest.mark.parametrize("side", ["left", "right"])
def test_landmarks_stand_where_the_insole_has_them(side):
    insole = insole_for(260.0, None)
    marks = {mark.name: mark.at for mark in insole.landmarks}
    placed = place_grid(GRID, ((45.0, 36.0), (45.0, 195.0)), (marks[MARKS[0]], marks[MARKS[1]])).map
    root = parsed(map_picture(placed, insole, side, MARKS))[0]
    crosses = [path.get("d") for path in root.iter(f"{NAME}path") if path.get("class") == "level"]
    found = [tuple(map(float, re.match(r"M([\d.]+),([\d.]+)h8", d).groups())) for d in crosses]
    apart = [drawn_point(marks[name], side) for name in MARKS]
    assert found[1][0] - found[0][0] == pytest.approx(apart[1][0] - apart[0][0], abs=0.02)
    assert found[0][1] - found[1][1] == pytest.approx(marks[MARKS[1]][1] - marks[MARKS[0]][1], abs=0.02)


@pytest.mark.parametrize("side", ["left", "right"])
def test_the_picture_lies_over_the_insole_at_the_maps_own_size(side):
    insole = insole_for(260.0, None)
    marks = {mark.name: mark.at for mark in insole.landmarks}
    placed = place_grid(GRID, ((45.0, 36.0), (45.0, 195.0)), (marks[MARKS[0]], marks[MARKS[1]])).map
    root = parsed(map_picture(placed, insole, side, MARKS))[0]
    image = root.find(f"{NAME}image")
    rows, columns = placed.grid().shape
    assert float(image.get("width")) == pytest.approx(columns * placed.cell[0])
    assert float(image.get("height")) == pytest.approx(rows * placed.cell[1])
    outline = next(p.get("d") for p in root.iter(f"{NAME}path") if p.get("d").endswith("Z"))
    xs = [float(x) for x, _ in re.findall(r"([\d.]+),([\d.]+)", outline)]
    left = float(image.get("x"))
    low = min(
        drawn_point((x, 0.0), side)[0]
        for x in (placed.origin[0], placed.origin[0] + columns * placed.cell[0])
    )
    edge = min(drawn_point((x, 0.0), side)[0] for x in (insole.outline.bounds[0], insole.outline.bounds[2]))
    assert left - min(xs) == pytest.approx(low - edge, abs=0.02)
