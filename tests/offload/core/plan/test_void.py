import math

import numpy as np
import pytest

from offload.core.foam.law import FoamError, packaged_foams
from offload.core.foam.stack import DEMONSTRATION_STACK, Layer
from offload.core.plan.void import Footprint, coverage, foams_of, footprint_of, signed_distance, void_of
from offload.core.pressure.baseline import lattice_for
from offload.core.pressure.lattice import Load
from offload.core.pressure.plate import below_form
from offload.core.shapes.outline import Outline
from tests.offload.core.linear_strip import strip
from tests.offload.core.pressure_plans import plan

FOAMS = foams_of(DEMONSTRATION_STACK, packaged_foams())


def void_in(made, lattice):
    cut = made.cut_indices
    depth = sum(DEMONSTRATION_STACK[index].thickness for index in cut)
    footprint = footprint_of(made.openings, made.spec.bevel, depth, lattice)
    return void_of(footprint, cut, DEMONSTRATION_STACK, FOAMS, lattice)


@pytest.mark.parametrize("cell", [2.5, 1.0])
@pytest.mark.parametrize(
    ("cut", "depth", "bevel"),
    [("middle", 6.0, 30.0), ("middle", 6.0, 45.0), ("base", 6.0, 90.0), ("middle+base", 12.0, 60.0)],
)
def test_the_cells_lose_the_volume_of_the_bevelled_opening(cell, cut, depth, bevel):
    made = plan(cut=cut, bevel=bevel, at=(0.0, 170.0), size=10.0)
    lattice = lattice_for(made.insole, cell)
    found = void_in(made, lattice)
    # Steiner: floor area, perimeter and pi times the wall's run, each summed over the height.
    area, perimeter, run = (
        made.openings[0].floor.area,
        made.openings[0].floor.perimeter,
        depth / math.tan(math.radians(bevel)),
    )
    volume = depth * (area + perimeter * run / 2 + math.pi * run * run / 3)
    assert not made.openings[0].open_to_edge
    assert found.volume == pytest.approx(volume, rel=0.01)


def test_the_cover_is_never_cut_and_the_deepest_part_of_a_layer_stays_longest():
    made = plan(cut="middle+base", at=(0.0, 170.0), size=10.0)
    lattice = lattice_for(made.insole, 2.5)
    found = void_in(made, lattice)
    assert np.all(found.left_mm[0] == 3.0)
    assert found.left_mm[1:].sum(axis=0) + found.depth_mm == pytest.approx(
        np.full(lattice.support.shape, 12.0)
    )
    assert np.all((found.left_mm[1] == 0) | (found.left_mm[2] == 6.0))


def test_over_a_void_nothing_below_drags_at_the_layers_above():
    made = plan(cut="base", at=(0.0, 170.0))
    lattice = lattice_for(made.insole, 2.5)
    found = void_in(made, lattice)
    plate = found.foundation.plate
    assert [layer.role for layer in plate.layers] == ["cover", "middle"]
    assert (plate.bonded.min(), plate.bonded.max()) == (0.0, 1.0)
    # Of the base alone phi runs from 1 to 0, so a third of its shear stiffness counts beside the void.
    assert below_form(plate.below_layers, plate.below_foams)[0, 0] == pytest.approx(750 * 6 / 3)
    assert np.all(plate.window[(found.depth_mm > 0) & lattice.support])
    # phi runs 1, 16/31, 4/31, 0 through the whole demonstration stack.
    a, b = 16 / 31, 4 / 31
    assert below_form(DEMONSTRATION_STACK, FOAMS)[0, 0] == pytest.approx(
        100 * (1 + a + a * a) + 500 * (a * a + a * b + b * b) + 1500 * b * b
    )


@pytest.mark.parametrize(("half_width", "bonded"), [(10.0, 0.5), (9.375, 0.75), (8.75, 1.0), (11.25, 0.0)])
def test_the_foam_by_a_wall_drags_for_its_share_of_the_way_between_centres(half_width, bonded):
    y, void = strip(2, half_width, 30.0, 2.5)
    found = void.foundation.plate.bonded
    near = int(np.flatnonzero(y == 8.75)[0])  # its next centre along y stands at 11.25 mm
    assert found[1][near - 2 : near, 1] == pytest.approx(0.0)
    assert found[1][near, 1] == pytest.approx(bonded)
    # Along the wall the square between two centres is as wide as the cell.
    beside = np.clip(0.5 + (8.75 - half_width) / 2.5, 0.0, 1.0)
    assert found[0][near, 1] == pytest.approx(beside)


def left_under(half_width, cell):
    """Mean over the lesion under an open base cut across a long strip, 100 kPa over the whole."""
    y, void = strip(2, half_width, 60.0, cell)
    everywhere = void.foundation.lattice.support
    load = Load(0.1 * everywhere.size * cell**2, 0.0, 0.0)
    pressed = void.foundation.press(np.zeros(everywhere.shape), everywhere, 50.0, load)
    return pressed.pressure_kpa[np.abs(y) < half_width - 5.0, 1].mean()


@pytest.mark.parametrize("half_width", [7.5, 10.0, 12.5, 17.5])
def test_cells_of_a_plan_leave_as_much_over_an_open_void_as_cells_half_as_large_and_no_less_than_small_ones(
    half_width,
):
    """3 % or 1 kPa; against cells of 0.25 mm the plan's own err to the safe side, by 10 % at most."""
    plan, half, tenth = (left_under(half_width, cell) for cell in (2.5, 1.25, 0.25))
    assert plan == pytest.approx(half, rel=0.03, abs=1.0)
    assert 0.99 * tenth < plan < 1.10 * tenth


@pytest.mark.parametrize("at", [(0.0, 0.0), (1.25, 0.6)])
@pytest.mark.parametrize("cell", [1.0, 2.5])
def test_a_cell_by_the_wall_knows_what_part_of_it_the_void_takes_and_where(cell, at):
    made = plan(cut="base", at=(0.0 + at[0], 170.0 + at[1]), size=10.0)
    lattice = lattice_for(made.insole, cell)
    found = footprint_of(made.openings, made.spec.bevel, 6.0, lattice)
    polygon = made.openings[0].opening.polygon
    assert found.share.sum() * lattice.area == pytest.approx(polygon.area, rel=2e-3)
    x, y = np.meshgrid(lattice.x, lattice.y)
    middle = [
        ((at + off) * found.share).sum() / found.share.sum()
        for at, off in zip((x, y), found.middle_mm, strict=True)
    ]
    assert middle == pytest.approx([polygon.centroid.x, polygon.centroid.y], abs=0.02)


@pytest.mark.parametrize("cell", [1.0, 2.5, 5.0])
@pytest.mark.parametrize("bevel", [45.0, 90.0])
def test_the_plate_is_followed_over_the_whole_void_at_any_cell(cell, bevel):
    """Thin layers bend over less than a cell; the cells that the void only touches belong to it all the
    same.
    """
    stack = (Layer("cover", "soft", 1.0), Layer("base", "firm", 8.0))
    made = plan(cut="base", at=(0.0, 170.0), bevel=bevel, stack=stack)
    lattice = lattice_for(made.insole, cell)
    footprint = footprint_of(made.openings, bevel, 8.0, lattice)
    found = void_of(footprint, (1,), stack, foams_of(stack, packaged_foams()), lattice)
    plate = found.foundation.plate
    assert np.all(plate.window[(footprint.share > 0) & lattice.support])
    volume = (plate.depth_mm * plate.share).sum() * lattice.area
    assert volume == pytest.approx(found.volume, rel=1e-9)


def test_an_opening_no_cell_holds_any_of_leaves_the_foam_as_it_was():
    made = plan(cut="base", at=(0.0, 170.0))
    lattice = lattice_for(made.insole, 5.0)
    far = np.full(lattice.support.shape, 50.0)
    missed = Footprint(0 * far, 0 * far, far, np.zeros((2, *far.shape)))
    found = void_of(missed, made.cut_indices, DEMONSTRATION_STACK, FOAMS, lattice)
    assert found.foundation.plate is None
    assert not found.depth_mm.any()
    assert found.left_mm[:, 0, 0].tolist() == [layer.thickness for layer in DEMONSTRATION_STACK]


def test_distance_is_negative_inside_and_exact_outside():
    lattice = lattice_for(plan().insole, 2.5)
    whole = (slice(0, lattice.y.size), slice(0, lattice.x.size))
    found = signed_distance(Outline.ellipse((0.0, 150.0), 40.0, 40.0), lattice, whole)
    r = np.hypot(lattice.x[None, :], lattice.y[:, None] - 150.0)
    assert found == pytest.approx(r - 20.0, abs=0.06)


@pytest.mark.parametrize("size", [1.0, 6.0, 25.0])
def test_coverage_sums_to_the_area_and_never_to_nothing(size):
    lattice = lattice_for(plan().insole, 2.5)
    share = coverage(Outline.ellipse((1.3, 151.1), size, size), lattice)
    assert share.max() <= 1.0
    assert share.sum() > 0
    if size > 5:
        assert share.sum() * lattice.area == pytest.approx(math.pi / 4 * size**2, rel=0.1)


def test_an_unknown_foam_is_named():
    with pytest.raises(FoamError, match="foam of the cover is 'soft'; it must be one of firm"):
        foams_of(DEMONSTRATION_STACK, {"firm": packaged_foams()["firm"]})
