"""The plate over a void against closed forms of beams and plates."""

import numpy as np
import pytest
from scipy.linalg.blas import dsbmv

from offload.core.foam.law import Series, packaged_foams
from offload.core.foam.stack import DEMONSTRATION_STACK, Layer
from offload.core.plan.void import foams_of
from offload.core.pressure.foundation import Foundation
from offload.core.pressure.lattice import Lattice, Load
from offload.core.pressure.plate import (
    Plate,
    below_form,
    bending_energy,
    bending_stiffness,
    number,
    quadratic_band,
    reach_of,
    shear_energy,
)

FOAMS = foams_of(DEMONSTRATION_STACK, packaged_foams())


COVER = (Layer("cover", "medium", 6.0),)


def sheet(shape, cell, layers=COVER, tissue=1e9):
    """A plate over nothing, on the given cells; the tissue so stiff that only its lower face shears."""
    lattice = Lattice(
        np.arange(shape[1]) * cell, np.arange(shape[0]) * cell, cell, cell, np.ones(shape, dtype=bool)
    )
    foams = foams_of(layers, packaged_foams())
    one = Series(np.array([[[layer.thickness]] for layer in layers]), foams)
    everywhere = np.ones(shape, dtype=bool)
    plate = Plate(
        layers,
        foams,
        one,
        one,
        one,
        np.ones(shape),
        np.zeros(shape),
        np.zeros((2, *shape)),
        np.zeros((2, *shape)),
        everywhere,
        tissue,
    )
    return plate, lattice


def energy_of(plate, lattice, descent, turn_x, turn_y, free=False):
    """Energy of a shape [kPa mm³]; turns are given on the cells' sides. Free: its lower face slides as it
    likes.
    """
    at = number(plate.window, turning=True)
    forms = [*shear_energy(plate, lattice, at), *bending_energy(plate, lattice, at)]
    band = quadratic_band(forms, at.count)
    q = np.zeros(at.count)
    for places, values in ((at.face, descent), (at.turn_x, turn_x), (at.turn_y, turn_y)):
        q[places[places >= 0]] = values[places >= 0]
    if free:
        full = np.array([dsbmv(len(band) - 1, 1.0, band, one, lower=1) for one in np.eye(at.count)])
        slides = np.concatenate([places[places >= 0] for places in (at.slide_x, at.slide_y)])
        q[slides] = -np.linalg.solve(full[np.ix_(slides, slides)], (full @ q)[slides])
    return 0.5 * q @ dsbmv(len(band) - 1, 1.0, band, q, lower=1)


def test_bonded_layers_bend_about_their_own_neutral_line():
    one = (Layer("cover", "medium", 6.0),)
    assert bending_stiffness(one, foams_of(one, packaged_foams())) == pytest.approx(500 * 216 / 12)
    # Two halves of one foam are that foam; two foams by hand: neutral line at 5.25 mm.
    two = (Layer("cover", "medium", 2.0), Layer("middle", "medium", 4.0))
    assert bending_stiffness(two, foams_of(two, packaged_foams())) == pytest.approx(500 * 216 / 12)
    by_hand = 200 * (27 / 12 + 3 * 3.75**2) + 500 * (216 / 12 + 6 * 0.75**2)
    assert bending_stiffness(DEMONSTRATION_STACK[:2], FOAMS[:2]) == pytest.approx(by_hand)


def test_a_level_or_tilted_plate_that_turns_with_its_slope_stores_nothing():
    plate, lattice = sheet((6, 5), 2.0)
    x, y = np.meshgrid(lattice.x, lattice.y)
    turn = np.full(x.shape, 0.02 * 2.0), np.full(x.shape, -0.03 * 2.0)
    # The lower face alone shears here (`follows` is nothing at the top), so its slope counts by half: tilt
    # the turns alike.
    mean = plate.follows().mean()
    found = energy_of(plate, lattice, 0.02 * x - 0.03 * y, turn[0] * mean, turn[1] * mean)
    fan = 6.0 * 250 / 12 * (0.02**2 * 6 * 4 + 0.03**2 * 5 * 5) * 4 / 2
    assert found == pytest.approx(fan, rel=1e-6)


def test_a_plate_bent_to_a_cylinder_or_twisted_stores_the_energy_of_its_curvature():
    plate, lattice = sheet((16, 17), 1.0, tissue=0.0)
    x, y = np.meshgrid(lattice.x, lattice.y)
    half = np.arange(17) + 0.5
    across = np.broadcast_to(0.01 * half, x.shape)
    along = np.broadcast_to(0.01 * y, x.shape), np.broadcast_to(0.01 * x, x.shape)
    # About the neutral line where the lower face slides as it likes, about that face where it is held: E t^3
    # / 12 and / 3.
    for free, bend in ((True, bending_stiffness(plate.layers, plate.foams)), (False, 500 * 6**3 / 3)):
        bent = energy_of(plate, lattice, 0.005 * x**2, across, np.zeros(x.shape), free)
        assert bent == pytest.approx(0.5 * bend * 0.01**2 * 15 * 16, rel=1e-3)
        twisted = energy_of(plate, lattice, 0.01 * x * y, *along, free)
        # D (1 - nu) kxy^2 with nu = 0, over the corners between four cells.
        assert twisted == pytest.approx(bend * 0.01**2 * 15 * 16, rel=1e-3)


def test_a_strip_over_a_wide_void_sags_as_a_beam_that_bends_and_shears():
    """Own derivation. Beyond the wall the plate lies on hard ground and turns with ``exp(-y / sqrt(D / S))``,
    so that each end is a spring of ``sqrt(D S)`` against turning; between them a beam under even pressure
    that bends and shears.
    """
    cell, span = 0.5, 60.0
    layers = (Layer("cover", "medium", 6.0),)
    foams = foams_of(layers, packaged_foams())
    y = (np.arange(160) + 0.5) * cell - 40.0
    shape = (160, 3)
    lattice = Lattice(np.arange(3) * cell, y, cell, cell, np.ones(shape, dtype=bool))
    share = np.broadcast_to((np.abs(y) < span / 2)[:, None], shape).astype(float)
    soft, hard = Series.linear(np.full((1, 1), 1e-3)), Series.linear(np.full((1, 1), 1e-9))
    void = Series.linear(np.full(int(share.sum()), 1e-9))
    window = np.ones(shape, dtype=bool)
    nothing = np.zeros((2, *shape))
    plate = Plate(layers, foams, soft, hard, void, share, 50.0 * share, nothing, nothing, window, 0.0)
    bed = Foundation(lattice, soft, 50.0 * share, np.zeros(shape), plate)
    # Very soft tissue presses evenly, whatever the sag; the foot stands on the span alone.
    load = Load(share.sum() * lattice.area * 1e-3, 0.5 * share.sum() * lattice.area * 1e-3, 0.0)
    found = bed.press(np.zeros(shape), share > 0, 1e-4, load)
    bend, shear = 500 * 216 / 12, 5 / 6 * 250 * 6
    between = span + cell  # the ground holds at the middle of its first cell
    end = between**3 / (24 * bend) / (1 / np.sqrt(bend * shear) + between / (2 * bend))
    sag = 5 * between**4 / (384 * bend) - end * between**2 / (8 * bend) + between**2 / (8 * shear)
    assert found.roof[0][79:81, 1].mean() == pytest.approx(sag, rel=0.01)


@pytest.mark.parametrize("squeezed", [0.0, 60.0])
def test_layers_below_shear_under_slope_and_slide_as_their_profile_says(squeezed):
    """Own derivation: phi falls from 1 to 0 with the compliance passed; of one layer
    ``G (t/3, -1/2, 1/t)``.
    """
    form = below_form(DEMONSTRATION_STACK[2:], FOAMS[2:], squeezed)
    shear = (1500 + squeezed / FOAMS[2].locking_strain) / 2
    assert form == pytest.approx(shear * np.array([[2.0, -0.5], [-0.5, 1 / 6]]))
    whole = below_form(DEMONSTRATION_STACK, FOAMS, squeezed)
    assert np.all(np.linalg.eigvalsh(whole) > 0)
    # A slide with no slope shears every layer by the same stress: layers in series.
    secant = np.array([foam.modulus_kpa + squeezed / foam.locking_strain for foam in FOAMS])
    first = np.array([foam.modulus_kpa for foam in FOAMS])
    part = np.array([3.0, 6.0, 6.0]) * first / secant**2
    assert whole[1, 1] == pytest.approx((secant / 2 / np.array([3, 6, 6]) * (part / part.sum()) ** 2).sum())


def test_a_thin_plate_is_followed_less_far_than_a_thick_one():
    cover, both = (reach_of(DEMONSTRATION_STACK, FOAMS, first) for first in (1, 2))
    # 1.5 (4 D / k)^(1/4)
    assert cover == pytest.approx(1.5 * (4 * 450 * 16e-3) ** 0.25)
    assert cover < both < 10.0
