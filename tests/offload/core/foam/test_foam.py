import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from offload.core.foam.law import (
    Foam,
    FoamError,
    FoamPoint,
    Series,
    fit_foam,
    packaged_foams,
    remaining_thickness,
)

FOAMS = [packaged_foams()[name] for name in ("soft", "medium", "firm")]
thicknesses = st.lists(st.floats(0.0, 12.0), min_size=3, max_size=3).filter(lambda t: sum(t) > 0.5)


@given(foam=st.sampled_from(FOAMS), stress=st.floats(0, 2000))
def test_strain_and_stress_are_each_others_inverse(foam, stress):
    assert foam.stress(foam.strain(stress)) == pytest.approx(stress, abs=1e-6)


@given(thickness=thicknesses, pressure=st.floats(0.0, 4000.0))
def test_a_stack_gives_back_the_pressure_that_compressed_it(thickness, pressure):
    series = Series(np.array(thickness)[:, None], FOAMS)
    found, _ = series.pressure(series.compression([pressure]))
    assert found[0] == pytest.approx(pressure, rel=1e-7, abs=1e-7)


@given(thickness=thicknesses, pressure=st.floats(1.0, 3000.0))
def test_the_tangent_is_the_slope_of_the_law(thickness, pressure):
    series = Series(np.array(thickness)[:, None], FOAMS)
    w, step = series.compression([pressure]), 1e-6
    slope = (series.pressure(w + step)[0] - series.pressure(w - step)[0]) / (2 * step)
    assert series.pressure(w)[1] == pytest.approx(slope, rel=1e-4)


@given(thickness=thicknesses, pressure=st.floats(1.0, 3000.0), guess=st.floats(0.0, 5000.0))
def test_any_guess_leads_to_the_same_pressure(thickness, pressure, guess):
    series = Series(np.array(thickness)[:, None], FOAMS)
    w = series.compression([pressure])
    assert series.pressure(w, np.array([guess]))[0] == pytest.approx(series.pressure(w)[0], rel=1e-8)


def test_a_stack_carries_nothing_when_it_is_pulled_and_runs_on_straight_when_it_is_crushed():
    series = Series(np.array([[3.0] * 4, [6.0] * 4, [6.0] * 4]), FOAMS)
    pressure, slope = series.pressure([-1.0, 0.0, 50.0, 60.0])
    assert list(pressure[:2]) == [0, 0]
    assert slope[:2] == pytest.approx([0, 1000 / 31])
    assert pressure[3] - pressure[2] == pytest.approx(10 * slope[3])


def test_a_layer_of_no_thickness_counts_for_nothing():
    two = Series(np.array([[3.0], [6.0]]), FOAMS[:2])
    three = Series(np.array([[3.0], [6.0], [0.0]]), FOAMS)
    assert three.compression([150.0]) == pytest.approx(two.compression([150.0]))


def test_a_column_without_foam_is_refused():
    with pytest.raises(FoamError, match="at least one layer"):
        Series(np.zeros((3, 2)), FOAMS)


@given(
    modulus=st.floats(50, 3000),
    locking=st.floats(0.55, 0.95),
    strains=st.sampled_from([(0.25, 0.5), (0.1, 0.25, 0.4, 0.5), (0.1, 0.2, 0.3)]),
)
def test_a_fit_finds_the_foam_its_points_came_from(modulus, locking, strains):
    foam = Foam("x", "x", modulus, locking, 0.5, "test", "test")
    fit = fit_foam([FoamPoint(e, float(foam.stress(e))) for e in strains])
    assert fit.modulus_kpa == pytest.approx(modulus, rel=1e-5)
    assert fit.locking_strain == pytest.approx(locking, rel=1e-5)
    assert fit.misfit_kpa < 1e-5 * modulus


@pytest.mark.parametrize(
    ("points", "words"),
    [
        ([(0.25, 60)], "at least 2"),
        ([(0.25, 60), (0.1, 80)], "rise"),
        ([(0.1, 60), (0.25, 50)], "rise"),
        ([(0.0, 10), (0.25, 50)], "between 0 and 1"),
        ([(0.1, float("nan")), (0.25, 50)], "finite"),
        ([(0.1, 100), (0.25, 110), (0.5, 115)], "nearest foam law"),
    ],
)
def test_points_no_foam_can_have_are_refused(points, words):
    with pytest.raises(FoamError, match=words):
        fit_foam([FoamPoint(*point) for point in points])


def test_wear_leaves_the_remaining_thickness_and_never_less_than_a_tenth():
    assert remaining_thickness(6.0, 0.5) == 5.5
    with pytest.raises(FoamError, match="between 0 and 5.4 mm"):
        remaining_thickness(6.0, 5.5)


def test_every_packaged_foam_says_that_it_is_a_demonstration_and_where_its_values_come_from():
    for foam in packaged_foams().values():
        assert foam.status == "demonstration"
        assert "demonstration value" in foam.source
        assert foam.valid_stress_kpa > 200


@pytest.mark.parametrize(
    ("field", "value"), [("modulus_kpa", 0.0), ("locking_strain", 1.2), ("valid_strain", 0.9)]
)
def test_a_foam_out_of_bounds_is_refused_by_name(field, value):
    good = {"modulus_kpa": 200.0, "locking_strain": 0.7, "valid_strain": 0.5}
    with pytest.raises(FoamError, match=field):
        Foam(id="x", label="x", status="test", source="test", **(good | {field: value}))
