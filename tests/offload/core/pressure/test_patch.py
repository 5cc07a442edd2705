"""The mean over a sensor-sized patch."""

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from offload.core.pressure.lattice import Lattice
from offload.core.pressure.patch import PATCH_MM2, Patches
from offload.core.shapes.outline import Outline


def lattice(cell):
    steps = (np.arange(round(80 / cell)) + 0.5) * cell - 40.0
    return Lattice(steps, steps, cell, cell, np.ones((steps.size, steps.size), dtype=bool))


@settings(max_examples=30)
@given(
    size=st.floats(2.0, 40.0),
    at=st.tuples(st.floats(-8.0, 8.0), st.floats(-8.0, 8.0)),
    slope=st.tuples(st.floats(-1.0, 1.0), st.floats(-1.0, 1.0)),
    cell=st.sampled_from([1.0, 2.5, 5.0]),
)
@example(size=25.5, at=(0.0, 0.0), slope=(0.0, 1.0), cell=1.0)
def test_a_sloping_pressure_has_its_mean_at_the_highest_place_a_patch_may_have(size, at, slope, cell):
    grid = lattice(cell)
    x, y = np.meshgrid(grid.x, grid.y)
    patches = Patches(Outline.ellipse(at, size, size), grid)
    found = patches.highest(100.0 + slope[0] * x + slope[1] * y)
    reach = max(size / 2 - np.sqrt(PATCH_MM2 / np.pi), 0.0)
    middle = 100.0 + slope[0] * at[0] + slope[1] * at[1]
    highest = middle + reach * np.hypot(*slope)
    # Centres stand on a grid of 2 mm through the middle, so the highest place is missed by less than 2 mm.
    assert middle - 0.2 <= found <= highest + 0.2
    assert found >= highest - 2.0 * np.hypot(*slope) - 0.2


def test_a_small_lesion_takes_in_what_lies_around_it():
    grid = lattice(1.0)
    x, y = np.meshgrid(grid.x, grid.y)
    inside = np.hypot(x, y) < 4.0
    found = Patches(Outline.ellipse((0.0, 0.0), 4.0, 4.0), grid).highest(np.where(inside, 0.0, 100.0))
    assert found == pytest.approx(100.0 * (1 - 16 * np.pi / PATCH_MM2), abs=4.0)


def test_off_the_cells_nothing_presses():
    grid = lattice(2.5)
    found = Patches(Outline.ellipse((40.0, 0.0), 4.0, 4.0), grid).highest(np.full(grid.support.shape, 100.0))
    assert found == pytest.approx(50.0, abs=10.0)
