"""An imprint photographed on the insole lands where it was, and the other foot's insole is noticed."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from offload.core.shapes.imprint import ImprintError, place_by_landmarks, place_by_outline
from offload.core.shapes.insole import insole_for

INSOLE = insole_for(260.0, 98.0)
LESION = ((-8.0, 190.0), (4.0, 190.0), (4.0, 203.0), (-8.0, 203.0))
HEEL = (0.0, 0.0)


def photographed(points, side, turn=0.0, shift=(140.0, 300.0)):
    """Points of the anatomical frame as they lie in a photo's plane, y down, the insole foot side up."""
    sign = 1.0 if side == "right" else -1.0
    seen = np.asarray(points, dtype=float) * (sign, -1.0)
    c, s = math.cos(turn), math.sin(turn)
    return [tuple(p) for p in seen @ np.array([[c, -s], [s, c]]) + shift]


def marks(side, turn=0.0):
    ring = np.asarray(INSOLE.outline.exterior)
    toe = next(mark.at for mark in INSOLE.landmarks if mark.name == "toe_2")
    hallux = next(mark.at for mark in INSOLE.landmarks if mark.name == "hallux")
    ahead = ring[ring[:, 1] > 130]
    front = (toe[0], float(np.interp(toe[0], *ahead[np.argsort(ahead[:, 0])].T)))
    return photographed([HEEL, front, hallux], side, turn)


@settings(max_examples=25)
@given(side=st.sampled_from(["left", "right"]), turn=st.floats(-math.pi, math.pi))
def test_landmarks_bring_the_imprint_back_whatever_way_the_photo_lies(side, turn):
    placing = place_by_landmarks(INSOLE, side, *marks(side, turn))
    assert np.allclose(placing.to_insole(photographed(LESION, side, turn)), LESION, atol=0.05)
    assert placing.misfit < 0.1


@pytest.mark.parametrize(("side", "turn"), [("left", 0.3), ("right", -1.2), ("left", 2.8), ("right", 3.1)])
def test_the_outline_brings_the_imprint_back(side, turn):
    rng = np.random.default_rng(3)
    traced = np.array(photographed(INSOLE.outline.exterior, side, turn))
    traced = traced + rng.normal(0, 0.7, traced.shape)
    placing = place_by_outline(INSOLE, side, traced)
    back = np.asarray(placing.to_insole(photographed(LESION, side, turn)))
    assert np.abs(back - LESION).max() < 1.0
    assert placing.misfit < 1.5


@pytest.mark.parametrize(("side", "other"), [("left", "right"), ("right", "left")])
def test_the_other_foots_insole_is_refused_by_landmarks_and_by_outline(side, other):
    with pytest.raises(ImprintError, match="big toe"):
        place_by_landmarks(INSOLE, side, *marks(other))
    with pytest.raises(ImprintError, match=f"fits a {other} insole"):
        place_by_outline(INSOLE, side, photographed(INSOLE.outline.exterior, other, 0.4))


def test_marks_of_another_size_are_refused_with_both_lengths():
    heel, toe, hallux = marks("left")
    far = (heel[0] + (toe[0] - heel[0]) * 1.3, heel[1] + (toe[1] - heel[1]) * 1.3)
    with pytest.raises(ImprintError, match=r"in the photo and .* on the insole"):
        place_by_landmarks(INSOLE, "left", heel, far, hallux)


def test_something_that_is_no_insole_is_refused():
    square = [(0, 0), (100, 0), (100, 100), (0, 100)]
    with pytest.raises(ImprintError, match="misses the insole"):
        place_by_outline(INSOLE, "left", square)
