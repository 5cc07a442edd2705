"""An imprint photographed on the insole lands where it was, and the other foot's insole is noticed."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from offload.core.shapes.imprint import (
    HOLES,
    ImprintError,
    LengthError,
    place_by_holes,
    place_by_landmarks,
    place_by_outline,
    real_insole,
)
from offload.core.shapes.insole import insole_for
from offload.core.shapes.outline import Outline

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
    with pytest.raises(ImprintError, match="of the drawn insole's length"):
        place_by_outline(INSOLE, "left", square)
    wavy = [(x + 8.0 * math.sin(y / 14.0), y) for x, y in INSOLE.outline.exterior]
    with pytest.raises(ImprintError, match="misses the insole"):
        place_by_outline(INSOLE, "left", photographed(wavy, "left"))


def stretched(share, insole=INSOLE):
    """The insole of another length, its heel where the drawn one has it."""
    return [(x, y * share) for x, y in insole.outline.exterior]


@pytest.mark.parametrize("share", [0.985, 1.015])
@pytest.mark.parametrize("side", ["left", "right"])
def test_a_small_difference_in_length_moves_nothing_from_the_heel(side, share):
    placing = place_by_outline(INSOLE, side, photographed(stretched(share), side, 0.2))
    assert np.allclose(placing.to_insole(photographed(LESION, side, 0.2)), LESION, atol=0.3)
    assert placing.length_off == pytest.approx(270 * (share - 1), abs=0.3)
    ends = marks(side, 0.2)
    toe = tuple(np.add(ends[0], np.subtract(ends[1], ends[0]) * share))
    placing = place_by_landmarks(INSOLE, side, ends[0], toe, ends[2])
    assert np.allclose(placing.to_insole(photographed(LESION, side, 0.2)), LESION, atol=0.3)


@pytest.mark.parametrize("share", [0.9, 0.97, 1.03, 1.1])
def test_another_length_asks_for_this_insoles_outline_and_then_fits_it(share):
    seen = photographed(stretched(share), "right", -0.4)
    with pytest.raises(LengthError, match="keep this insole's own outline first"):
        place_by_outline(INSOLE, "right", seen)
    found = real_insole(INSOLE, "right", seen)
    assert np.allclose(found.outline, stretched(share), atol=0.3)
    own = insole_for(260.0, 98.0, Outline(found.outline))
    placing = place_by_outline(own, "right", seen)
    assert np.allclose(placing.to_insole(photographed(LESION, "right", -0.4)), LESION, atol=0.3)
    assert placing.length_off == 0.0


def test_the_edge_of_another_insole_is_refused_by_the_own_outline():
    own = insole_for(260.0, 98.0, Outline(tuple(stretched(1.1))))
    with pytest.raises(ImprintError, match="own outline by"):
        place_by_outline(own, "left", photographed(stretched(0.97), "left"))


def test_an_outline_of_an_impossible_length_or_of_the_other_side_is_not_kept():
    with pytest.raises(ImprintError, match="of the drawn insole's length"):
        real_insole(INSOLE, "left", photographed(stretched(1.4), "left"))
    with pytest.raises(ImprintError, match="fits a right insole"):
        real_insole(INSOLE, "left", photographed(stretched(1.05), "right"))


@pytest.mark.parametrize("side", ["left", "right"])
@pytest.mark.parametrize("turn", [0.0, 0.7, 2.9])
def test_the_two_holes_of_the_sheet_lay_a_print_whatever_the_insoles_length(side, turn):
    rear, front, toe, *print_seen = photographed([*HOLES, (-25.0, 235.0), *LESION], side, turn)
    placing = place_by_holes(side, rear, front, toe)
    assert np.allclose(placing.to_insole(print_seen), LESION, atol=1e-6)
    assert np.allclose(placing.to_photo(LESION), print_seen, atol=1e-6)
    wrong = tuple(np.add(rear, np.subtract(front, rear) * 1.05))
    with pytest.raises(ImprintError, match="the two holes are 105.0 mm apart"):
        place_by_holes(side, rear, wrong, toe)
    with pytest.raises(ImprintError, match="little-toe side"):
        place_by_holes("left" if side == "right" else "right", rear, front, toe)
