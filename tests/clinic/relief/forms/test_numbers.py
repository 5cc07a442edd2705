"""The typed numbers, the drawn outline, and one state for both."""

from __future__ import annotations

import json
import math

import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from clinic.relief.forms.numbers import CutForm, ShapeForm
from offload.core.shapes.lesion import Ellipse
from offload.core.shapes.outline import Outline
from offload.plans.numbers import numbers_of

NUMBERS = {
    "include": "on",
    "x_mm": "-7",
    "y_mm": "195",
    "length_mm": "14",
    "width_mm": "10",
    "angle_deg": "0",
}
L_SHAPE = [[-5, -8], [5, -8], [5, -2], [0, -2], [0, 8], [-5, 8]]


def shape(**changes):
    form = ShapeForm({**NUMBERS, **changes})
    return form, form.is_valid()


def test_the_numbers_become_the_ellipse_of_the_specification():
    form, valid = shape()
    assert valid
    assert form.drawn == Ellipse((-7.0, 195.0), 14.0, 10.0, 0.0)


@pytest.mark.parametrize(
    ("changes", "field", "words"),
    [
        ({"x_mm": "nan"}, "x_mm", "which is no number"),
        ({"x_mm": ""}, "x_mm", "missing"),
        ({"length_mm": "300"}, "length_mm", "given as 300 mm; it must be between 1 and 200 mm"),
        ({"width_mm": "15"}, "width_mm", "Width is 15 mm; the limit is the length, 14 mm"),
        ({"outline": "[[0,0],[1"}, "outline", "cannot be read"),
        ({"outline": '{"a":1}'}, "outline", "cannot be read"),
        ({"outline": "[[0,0],[1,1]]"}, "outline", "2 points; the limit is 3"),
        ({"outline": "[[0,0],[1,1],[1e999,0]]"}, "outline", "a number is 1e999; finite numbers"),
        ({"outline": "[[-5,-5],[5,5],[5,-5],[-5,5]]"}, "outline", "no simple ring"),
        ({"outline": "[[0,0],[1,1],[2,2]]"}, "outline", "no simple ring"),
        ({"outline": "[[0,0],[1,1],[1" + "0" * 400 + ",2]]"}, "outline", "cannot be read"),
    ],
)
def test_a_fault_names_field_value_and_limit(changes, field, words):
    form, valid = shape(**changes)
    assert not valid
    assert words in " ".join(form.errors[field])


def test_a_drawn_outline_is_stretched_turned_and_placed_by_the_numbers():
    form, valid = shape(
        outline=json.dumps(L_SHAPE), x_mm="10", y_mm="100", length_mm="32", width_mm="20", angle_deg="90"
    )
    assert valid
    ring = form.drawn.polygon
    # Length along +y turned by 90° counter-clockwise lies along -x.
    assert ring.bounds == pytest.approx((10 - 16, 100 - 10, 10 + 16, 100 + 10), abs=0.01)
    assert ring.area == pytest.approx(shapely.Polygon(L_SHAPE).area * 4, rel=1e-3)


@settings(max_examples=40)
@given(
    length=st.floats(8, 40),
    share=st.floats(0.4, 0.9),
    angle=st.floats(-89, 89),
    x=st.floats(-30, 30),
    y=st.floats(20, 240),
)
def test_an_ellipse_comes_back_as_the_same_ellipse(length, share, angle, x, y):
    width = length * share
    ring = Outline.ellipse((x, y), length, width, angle).exterior
    found = numbers_of([list(point) for point in ring])
    assert found["outline"] == ""
    back = Outline.ellipse(
        (found["x_mm"], found["y_mm"]), found["length_mm"], found["width_mm"], found["angle_deg"]
    )
    same = Outline.ellipse((x, y), length, width, angle).polygon
    assert back.polygon.symmetric_difference(same).area < 0.06 * same.area


@settings(max_examples=40)
@given(angle=st.floats(-180, 180), x=st.floats(-30, 30), y=st.floats(20, 240))
def test_a_drawn_ring_comes_back_as_the_same_ring(angle, x, y):
    turned = shapely.affinity.rotate(shapely.Polygon(L_SHAPE), angle)
    ring = shapely.affinity.translate(turned, x, y)
    numbers = numbers_of([list(point) for point in ring.exterior.coords[:-1]])
    form = ShapeForm({"include": "on", **{name: str(value) for name, value in numbers.items()}})
    assert form.is_valid(), form.errors
    back = form.drawn.polygon
    assert back.symmetric_difference(ring).area < 0.06 * ring.area


def test_a_circle_has_no_turn():
    found = numbers_of([[10 * math.cos(t / 50), 180 + 10 * math.sin(t / 50)] for t in range(314)])
    assert (found["x_mm"], found["y_mm"], found["length_mm"], found["width_mm"]) == pytest.approx(
        (0, 180, 20, 20), abs=0.1
    )


def test_the_margin_towards_the_toes_is_never_below_the_margin():
    form = CutForm(
        {"margin_mm": 8, "distal_margin_mm": 5, "bevel_deg": 45, "margin_face": "floor", "cut": "auto"}
    )
    assert not form.is_valid()
    assert "5 mm; the limit is the margin all round, 8 mm" in form.errors["distal_margin_mm"][0]


def test_a_stored_imprint_comes_back_with_the_very_numbers_it_was_made_of():
    ring = [[round(x, 2), round(y, 2)] for x, y in Outline.ellipse((11.9, 36.4), 14, 10, 0).exterior]
    assert numbers_of(ring) == {
        "x_mm": 11.9,
        "y_mm": 36.4,
        "length_mm": 14.0,
        "width_mm": 10.0,
        "angle_deg": 0.0,
        "outline": "",
    }
