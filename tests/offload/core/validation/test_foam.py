"""Foam against hand-computed stacks and against a measured curve of a real foam (NIST)."""

from pathlib import Path

import numpy as np
import pytest

from offload.core.foam.law import Foam, FoamPoint, Series, fit_foam, packaged_foams

CURVE = Path(__file__).parents[1] / "data" / "nist_vn01_quasistatic_compression.csv"
TISSUE = 50.0  # kPa/mm


def stack() -> list[Foam]:
    foams = packaged_foams()
    return [foams["soft"], foams["medium"], foams["firm"]]


def nist() -> tuple[np.ndarray, np.ndarray]:
    strain, pascal = np.loadtxt(CURVE, delimiter=",", skiprows=1).T
    return strain, pascal / 1e3


def test_linear_stack_of_3_6_6_mm():
    compliance = 3 / 200 + 6 / 500 + 6 / 1500
    series = Series.linear(np.array([compliance]))
    assert series.stiffness == pytest.approx([32.2581], rel=1e-5)
    assert series.compression([100.0]) == pytest.approx([3.1])


@pytest.mark.parametrize(("pressure", "compression"), [(100, 2.16833), (200, 3.41711), (400, 4.90325)])
def test_stiffening_stack_of_3_6_6_mm(pressure, compression):
    series = Series(np.array([[3.0], [6.0], [6.0]]), stack())
    assert series.compression([pressure]) == pytest.approx([compression], rel=1e-5)
    assert series.pressure([compression])[0] == pytest.approx([pressure], rel=1e-5)


def test_the_cover_at_200_kpa_is_strained_where_a_linear_law_would_have_crushed_it():
    assert stack()[0].strain(200.0) == pytest.approx(0.411765, rel=1e-5)
    assert 200.0 / stack()[0].modulus_kpa == pytest.approx(1.0)


@pytest.mark.parametrize(("around", "linear", "stiffening"), [(100, 5.100, 4.168), (200, 10.200, 7.417)])
def test_depth_that_clears_a_flat_lesion(around, linear, stiffening):
    series = Series(np.array([[3.0], [6.0], [6.0]]), stack())
    assert around / TISSUE + around * 0.031 == pytest.approx(linear, rel=1e-4)
    assert around / TISSUE + series.compression([around])[0] == pytest.approx(stiffening, rel=1e-4)


def test_the_measured_curve_reads_as_published():
    strain, stress = nist()
    assert np.interp([0.10, 0.25, 0.40], strain, stress) == pytest.approx([30.23, 57.27, 118.03], abs=0.01)
    assert np.interp(150.0, stress, strain) == pytest.approx(0.4460, abs=1e-4)


def test_the_law_fits_the_whole_measured_curve_within_seven_kpa():
    strain, stress = nist()
    fit = fit_foam([FoamPoint(float(e), float(s)) for e, s in zip(strain[1:], stress[1:], strict=True)])
    assert fit.modulus_kpa == pytest.approx(166, rel=0.005)
    assert fit.locking_strain == pytest.approx(0.883, rel=0.005)
    assert fit.misfit_kpa == pytest.approx(6.6, abs=0.1)


def test_two_points_are_met_exactly_and_stand_for_the_curve_within_seven_kpa():
    strain, stress = nist()
    points = [FoamPoint(e, float(np.interp(e, strain, stress))) for e in (0.25, float(strain[-1]))]
    fit = fit_foam(points)
    assert fit.misfit_kpa == pytest.approx(0.0, abs=1e-9)
    foam = fit.as_foam("vn", "measured", points, "NIST")
    assert np.sqrt(np.mean((foam.stress(strain) - stress) ** 2)) == pytest.approx(6.9, abs=0.1)


def test_four_points_of_the_measured_curve_fit_with_a_misfit_that_is_shown():
    strain, stress = nist()
    points = [
        FoamPoint(e, float(np.interp(e, strain, stress))) for e in (0.10, 0.25, 0.40, float(strain[-1]))
    ]
    fit = fit_foam(points)
    assert 1.0 < fit.misfit_kpa < 12.0
    assert fit.worst_kpa >= fit.misfit_kpa
