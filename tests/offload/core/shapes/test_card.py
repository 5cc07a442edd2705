"""The reference is found where it is clear, and nowhere else."""

import numpy as np
import pytest

from offload.core.shapes.card import guess_corners, snap_to_edges
from offload.core.shapes.rectify import rectify
from offload.core.shapes.scale_error import corner_noise, rectangle_error, ruler_error
from tests.offload.core.photo_scenes import scene


@pytest.mark.parametrize(
    ("seed", "tilt", "card"), [(1, 0, "#e8e6df"), (2, 25, "#e8e6df"), (3, 35, "#20242c")]
)
def test_a_clear_card_is_found_to_a_fraction_of_a_pixel(seed, tilt, card):
    shot = scene(seed, tilt, card=card)
    found = guess_corners(shot.grey)
    assert found is not None
    assert np.abs(np.asarray(found.corners) - shot.card_px).max() < 0.5
    assert rectify(found.corners, edges=found.points).residual < 0.1


def test_nothing_is_found_where_there_is_no_card():
    rng = np.random.default_rng(0)
    assert guess_corners(rng.normal(120, 20, (480, 640))) is None
    assert guess_corners(np.full((480, 640), 120.0)) is None


def test_marks_without_an_edge_beside_them_are_left_alone():
    flat = np.full((480, 640), 120.0)
    assert snap_to_edges(flat, [(100, 100), (400, 100), (400, 300), (100, 300)]) is None


def test_the_stated_error_is_that_of_moved_corners():
    shot, rng = scene(4, 15), np.random.default_rng(1)
    at = shot.wound_px.mean(axis=0)
    stated = rectangle_error(shot.card_px, (85.60, 53.98), at, noise=1.0)
    turn = np.linspace(0, 2 * np.pi, 40, endpoint=False)
    ring = at + 8 * np.column_stack([np.cos(turn), np.sin(turn)])

    def area(corners):
        x, y = np.array(rectify(corners).to_mm(ring)).T
        return abs(np.sum(x * np.roll(y, -1) - y * np.roll(x, -1))) / 2

    true = area(shot.card_px)
    seen = [area(shot.card_px + rng.normal(0, 1.0, (4, 2))) / true - 1 for _ in range(400)]
    assert stated == pytest.approx(100 * np.std(seen), rel=0.15)


def test_errors_grow_with_noise_and_shrink_with_points():
    assert corner_noise(0.4, 60) == 0.3
    assert corner_noise(4.0, 60) > corner_noise(4.0, 240)
    assert ruler_error(100) > ruler_error(1000) > 6.0
