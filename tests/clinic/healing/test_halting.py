from datetime import date, timedelta
from math import pi

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from clinic.healing.halting import halt_of
from clinic.healing.series import Area, last_run

DAY = date(2026, 1, 5)


def run_of(radii, share=None):
    return last_run([Area(DAY + timedelta(days=7 * i), pi * r * r, share=share) for i, r in enumerate(radii)])


@given(st.floats(3.0, 15.0), st.floats(0.25, 1.0), st.integers(3, 12))
def test_an_exact_straight_course_has_no_evidence_of_a_stop(radius, pace, count):
    radii = [radius - pace * i for i in range(count) if radius - pace * i > 0.9]
    if len(radii) >= 3:
        halt = halt_of(run_of(radii))
        assert halt.evidence < 0.5
        assert not halt.is_told


@given(st.floats(5.0, 15.0), st.floats(0.05, 0.2), st.integers(3, 12))
def test_nor_has_an_exact_exponential_course(radius, share, count):
    assert not halt_of(run_of([radius * np.exp(-share / 2 * i) for i in range(count)])).is_told


def test_a_clear_stop_is_found_at_its_day_and_growth_is_told_apart():
    flat = halt_of(run_of([10, 9.2, 8.4, 7.6, 6.8, 6.8, 6.8, 6.8]))
    assert flat.is_told
    assert not flat.grows
    assert flat.since == DAY + timedelta(days=28)
    grown = halt_of(run_of([10, 9.2, 8.4, 7.6, 6.8, 7.6, 8.4, 9.2]))
    assert grown.is_told
    assert grown.grows


def test_more_scatter_or_a_larger_error_of_the_clinic_asks_for_more():
    radii = [10, 9.2, 8.4, 7.6, 6.8, 6.8, 6.8, 6.8]
    scattered = [r + 0.6 * (-1) ** i for i, r in enumerate(radii)]
    assert halt_of(run_of(scattered)).evidence < halt_of(run_of(radii)).evidence
    assert halt_of(run_of(radii, 0.2)).evidence < halt_of(run_of(radii, 0.05)).evidence


def test_two_areas_or_a_closed_one_give_no_answer():
    assert halt_of(run_of([9, 8])) is None
    assert halt_of(run_of([9, 8, 7, 0])) is None


@pytest.mark.parametrize(("count", "told"), [(3, False), (8, True)])
def test_a_wound_that_never_fell_is_told_once_its_areas_can_show_it(count, told):
    assert halt_of(run_of([8.0] * count)).never_began is told


@given(st.lists(st.floats(1.0, 30.0), min_size=3, max_size=25))
def test_any_course_has_finite_evidence(radii):
    assert 0.0 <= halt_of(run_of(radii)).evidence < np.inf
