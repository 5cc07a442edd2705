"""The foundation against closed forms of beds of springs and of a coupled bed's cut edge.

Flat punch, circle, paraboloid, sphere, cylinder: Johnson KL, Contact Mechanics (Cambridge 1985), sect. 4.3,
and footing mechanics (kern, partial uplift); re-derived for these tests. Cut edge: own derivation, repeated
in its test. All at 1 mm cells, within 1 %.
"""

import numpy as np
import pytest

from offload.core.foam.law import Series
from offload.core.pressure.foundation import Foundation
from offload.core.pressure.lattice import Lattice, Load

WITHIN = 0.01


def lattice(width: float, length: float, cell: float = 1.0) -> Lattice:
    x = (np.arange(round(width / cell)) + 0.5) * cell - width / 2
    y = (np.arange(round(length / cell)) + 0.5) * cell - length / 2
    return Lattice(x, y, cell, cell, np.ones((y.size, x.size), dtype=bool))


def springs(cells: Lattice, stiffness: float) -> tuple[Foundation, float]:
    """Foam and tissue of twice the stiffness each: together a bed of springs of this stiffness [kPa/mm]."""
    shape = cells.support.shape
    columns = Series.linear(np.full(shape, 0.5 / stiffness))
    return Foundation(cells, columns, np.zeros(shape), np.zeros(shape)), 2.0 * stiffness


def press(cells: Lattice, profile: np.ndarray, contact: np.ndarray, load: Load, stiffness: float = 50.0):
    bed, tissue = springs(cells, stiffness)
    return bed.press(profile, contact, tissue, load)


@pytest.mark.parametrize(
    ("eccentricity", "contact_length", "peak"),
    [(0, 100, 200.0), (10, 100, 320.0), (100 / 6, 100, 400.0), (25, 75, 1600 / 3), (40, 30, 4000 / 3)],
)
def test_flat_punch_carries_an_eccentric_load_and_lifts_off(eccentricity, contact_length, peak):
    cells = lattice(40, 100)
    flat = np.zeros(cells.support.shape)
    found = press(cells, flat, cells.support, Load(800.0, 0.0, 800.0 * eccentricity)).pressure_kpa
    along = np.clip(
        peak + (cells.y - 50) * (peak - max(0.0, 2 * 800e3 / 4000 - peak)) / contact_length, 0, None
    )
    assert np.abs(found - along[:, None]).max() <= WITHIN * peak


def test_flat_circle_carries_an_eccentric_load():
    cells = lattice(82, 82)
    contact = np.hypot(cells.x[None, :], cells.y[:, None]) < 40
    found = press(cells, np.zeros(contact.shape), contact, Load(800.0, 0.0, 4000.0)).pressure_kpa
    slope = np.polyfit(cells.y, found[:, 41], 1, w=contact[:, 41])
    assert np.polyval(slope, [40, -40]) == pytest.approx([238.732, 79.577], rel=WITHIN)


@pytest.mark.parametrize(
    ("exact_sphere", "descent", "radius", "peak"),
    [(False, 4.606589, 16.625141, 230.329), (True, 4.732705, 16.172934, 236.635)],
)
def test_paraboloid_and_sphere_sink_in(exact_sphere, descent, radius, peak):
    cells = lattice(50, 50)
    r2 = cells.x[None, :] ** 2 + cells.y[:, None] ** 2
    gap = 30 - np.sqrt(np.maximum(900 - r2, 0)) if exact_sphere else r2 / 60
    found = press(cells, -gap, r2 < 25**2, Load(100.0, 0.0, 0.0))
    assert found.motion[0] == pytest.approx(descent, rel=1e-3)
    assert found.pressure_kpa.max() == pytest.approx(peak, rel=WITHIN)
    assert np.sqrt((found.pressure_kpa > 0).sum() / np.pi) == pytest.approx(radius, rel=0.02)


def test_cylinder_sinks_in():
    cells = lattice(50, 20)
    profile = np.broadcast_to(-(cells.x**2) / 80, cells.support.shape)
    found = press(cells, profile, cells.support, Load(100.0, 0.0, 0.0))
    assert found.pressure_kpa.max() == pytest.approx(206.370, rel=WITHIN)
    assert found.motion[0] == pytest.approx(4.127409, rel=1e-3)


@pytest.mark.parametrize(("hole_at", "ends"), [(25, (302.744, 178.782)), (0, (235.294, 235.294))])
def test_plate_with_a_hole_carries_more_around_it(hole_at, ends):
    cells = lattice(40, 100)
    hole = (np.abs(cells.x) < 10)[None, :] & (np.abs(cells.y - hole_at) < 15)[:, None]
    found = press(cells, np.zeros(hole.shape), ~hole, Load(800.0, 0.0, 0.0)).pressure_kpa
    line = np.polyfit(cells.y, found[:, 0], 1)
    assert np.polyval(line, [50, -50]) == pytest.approx(ends, rel=1e-4)


def coupled(cells: Lattice, share_of_foam: np.ndarray) -> Foundation:
    """Foam of 30 kPa/mm where it is, a bottomless void where it is not, skin coupling 2 N/mm throughout."""
    shape = cells.support.shape
    columns = Series.linear(1.0 / np.maximum(30.0 * share_of_foam, 1e-6))
    return Foundation(cells, columns, np.zeros(shape), np.full(shape, 2000.0))


def test_a_straight_cut_edge_carries_the_root_of_one_plus_the_stiffness_ratio():
    # k_t (d - w) = k_f w - G w'' outside and = -G w'' inside; value and slope agree at the edge, so that
    # w_edge = w_far sqrt(1 + k_f / k_t), whatever G is.
    cells = lattice(3, 240)
    foam = np.broadcast_to((np.abs(cells.y) > 60)[:, None], cells.support.shape)
    bed = coupled(cells, foam.astype(float))
    u = bed.press(np.zeros(foam.shape), cells.support, 60.0, Load(100.0, 0.0, 0.0)).displacement[:, 1]
    edge = (u[60] + u[59]) / 2
    assert edge / u[0] == pytest.approx(np.sqrt(1.5), rel=WITHIN)


def test_the_edge_of_a_round_cut_carries_less_than_a_straight_one():
    # Outside w = w_far + D K0(r / l_o), inside w = d - C I0(r / l_i); value and slope agree at r = 10 mm:
    # 1.1517.
    cells = lattice(100, 100)
    r = np.hypot(cells.x[None, :], cells.y[:, None])
    bed = coupled(cells, np.clip(r - 10 + 0.5, 0, 1))
    found = bed.press(np.zeros(r.shape), cells.support, 60.0, Load(2000.0, 0.0, 0.0))
    u = found.displacement[50, 50:]
    edge = np.interp(10.0, cells.x[50:], u)
    assert edge / u[-1] == pytest.approx(1.1517, rel=WITHIN)
    assert u[0] / u[-1] - 1 == pytest.approx(0.317, rel=2 * WITHIN)


@pytest.mark.parametrize("cell", [2.0, 1.0, 0.5])
def test_the_descent_of_a_paraboloid_converges_with_the_cells(cell):
    cells = lattice(40, 40, cell)
    r2 = cells.x[None, :] ** 2 + cells.y[:, None] ** 2
    descent = press(cells, -r2 / 60, r2 < 400, Load(100.0, 0.0, 0.0)).motion[0]
    assert descent == pytest.approx(4.606589, rel=4e-4 * cell**2)
