"""Perspective correction against closed formulas and an independent implementation.

Sources
-------
Pinhole projection of a tilted plane and of a plane nearer to the camera (elementary optics). The
quadrilateral at the end was mapped once with OpenCV 5.0 (getPerspectiveTransform, perspectiveTransform),
whose figures are kept here.
"""

import math

import numpy as np
import pytest

from offload.core.shapes.outline import Outline
from offload.core.shapes.rectify import ID1_CARD, rectify, scale_by_ruler
from tests.offload.core.shapes.test_rectify import CARD, camera

DISC = Outline.ellipse((0.0, 0.0), 40.0, 40.0)


def test_a_tilt_of_twenty_degrees_hides_six_percent_until_it_is_rectified():
    """f 1000 px, 300 mm away, 40 mm disc: 0.9404 of the true area; seen from far it would be cos 20° =
    0.9397.
    """
    seen = camera(DISC.exterior, tilt=20.0)
    by_scale = scale_by_ruler((0.0, 0.0), (1000.0 / 3.0, 0.0), 100.0)
    assert Outline(by_scale.to_mm(seen)).area / DISC.area == pytest.approx(0.9404, abs=5e-5)
    by_card = rectify(camera(CARD, tilt=20.0))
    assert Outline(by_card.to_mm(seen)).area / DISC.area == pytest.approx(1.0, abs=1e-9)
    assert math.cos(math.radians(20.0)) == pytest.approx(0.9397, abs=5e-5)


def test_a_card_ten_millimetres_nearer_than_the_wound_costs_six_and_a_half_percent():
    """(1 − h/D)² with h 10 mm and D 300 mm."""
    by_card = rectify(camera(CARD, distance=290.0))
    area = Outline(by_card.to_mm(camera(DISC.exterior, distance=300.0))).area
    assert area / DISC.area == pytest.approx((1 - 10 / 300) ** 2, rel=1e-9)
    assert area / DISC.area == pytest.approx(0.9344, abs=5e-5)


def test_a_photographed_card_maps_as_in_an_independent_implementation():
    plane = rectify([(412, 300), (1180, 352), (1106, 871), (380, 760)])
    assert np.allclose(plane.to_mm([(700, 500)]), [(36.802, 19.428)], atol=5e-4)
    assert np.allclose(plane.to_mm([(1106, 871)]), [ID1_CARD], atol=1e-9)
