"""Every part of the cut foam's tangent stores energy or nothing, whatever the state; with its trace it is
regular.
"""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.linalg import cholesky_banded

from offload.core.foam.law import Series, packaged_foams
from offload.core.foam.stack import Layer
from offload.core.plan.void import FAR_MM, Footprint, foams_of, void_of
from offload.core.pressure.foundation import Foundation
from offload.core.pressure.lattice import Lattice, Load
from offload.core.pressure.plate import (
    below_form,
    bending_energy,
    number,
    shear_energy,
    stretch_form,
)

FOAMS = packaged_foams()
NAMES = sorted(FOAMS)
ROUNDING = 1e-12
stacks = st.lists(st.tuples(st.sampled_from(NAMES), st.floats(1.0, 20.0)), min_size=2, max_size=4).map(
    lambda found: tuple(Layer("middle", foam, thick) for foam, thick in found)
)


def full(band: np.ndarray) -> np.ndarray:
    """A symmetric matrix of its lower band."""
    size = band.shape[1]
    lower = sum(np.diag(row[: size - step], -step) for step, row in enumerate(band[:size]))
    return lower + np.tril(lower, -1).T


def stores(form: np.ndarray) -> bool:
    """No form is below nought, but for rounding."""
    found = np.linalg.eigvalsh(form)
    return bool(np.all(found[..., 0] >= -ROUNDING * np.maximum(found[..., -1], 1e-300)))


@st.composite
def cut_foams(draw, shape=(6, 5), cell=2.5) -> Foundation:
    """Cut foam of any support, void and pressure before the cut; the void may take all of it."""
    rng = np.random.default_rng(draw(st.integers(0, 10**6)))
    support = rng.random(shape) < draw(st.sampled_from([0.5, 0.8, 1.0]))
    support[rng.integers(shape[0]), rng.integers(shape[1])] = True
    stack = draw(stacks)
    first = draw(st.integers(1, len(stack) - 1))
    cut = tuple(range(first, draw(st.integers(first, len(stack) - 1)) + 1))
    depth = sum(stack[place].thickness for place in cut)
    whole = draw(st.sampled_from([0.0, 0.3, 1.0]))  # share of the cells that lie over the void altogether
    share = np.where(rng.random(shape) < whole, 1.0, rng.random(shape) * (rng.random(shape) < 0.5))
    # The middle of a part lies within the cell, as far out as what is left of the cell leaves room.
    middle = (rng.random((2, *shape)) - 0.5) * cell * (1.0 - share)
    outside = np.where(share == 0, rng.random(shape) * 2 * cell, (0.5 - share) * cell)
    lattice = Lattice(np.arange(shape[1]) * cell, np.arange(shape[0]) * cell, cell, cell, support)
    before = rng.random(shape) * draw(st.sampled_from([1.0, 100.0, 600.0]))
    footprint = Footprint(depth * share, share, outside, middle)
    return void_of(footprint, cut, stack, foams_of(stack, FOAMS), lattice, before).foundation


@given(stack=stacks, squeezed=st.floats(0.0, 2000.0))
def test_each_form_of_layers_stores_energy(stack, squeezed):
    foams = foams_of(stack, FOAMS)
    assert stores(stretch_form(stack, foams))
    assert stores(below_form(stack, foams, squeezed))


@settings(max_examples=60)
@given(bed=cut_foams(), seed=st.integers(0, 10**6))
def test_the_tangent_is_a_sum_of_forms_that_store_energy_and_can_be_factored(bed, seed):
    if bed.plate is not None:
        at = number(bed.plate.window & bed.lattice.support, True)
        for energy in (shear_energy, bending_energy):
            for _, form in energy(bed.plate, bed.lattice, at):
                assert stores(form)
    rng = np.random.default_rng(seed)
    parts = bed._carriers
    slope = rng.choice([0.0, 1.0, 1e4], parts.weight.size) * parts.stiffness
    assert np.all(parts.weight >= 0)
    tangent = np.array(bed._template, order="F")
    parts.stiffen(tangent, slope)
    assert stores(full(tangent))
    # By hand: parts times their shares of the unknowns.
    onto = parts.onto.toarray()
    added = onto.T @ np.diag(bed.lattice.area * parts.weight * slope) @ onto
    assert full(tangent) - full(bed._template) == pytest.approx(added, rel=1e-9, abs=1e-6)
    tangent[0] += bed._trace
    cholesky_banded(tangent, lower=True)


@settings(max_examples=40)
@given(bed=cut_foams(), seed=st.integers(0, 10**6), most=st.sampled_from([1.0, 100.0, 600.0]))
def test_the_same_foam_under_another_pressure_is_the_foam_made_anew_under_it(bed, seed, most):
    shape = bed.lattice.support.shape
    before = np.random.default_rng(seed).random(shape) * most
    plate = None if bed.plate is None else replace(bed.plate, squeezed_kpa=before)
    anew = Foundation(bed.lattice, bed.columns, bed.gap_mm, bed.coupling, plate, before)
    there = bed.under(before)
    profile = np.full(shape, 1.0) + before / 50.0
    centre = (float(at[bed.lattice.support].mean()) for at in np.meshgrid(bed.lattice.x, bed.lattice.y))
    force = 0.1 * bed.lattice.area * int(bed.lattice.support.sum())
    x, y = centre
    if int(bed.lattice.support.sum()) < 3:
        return
    load = Load(force, force * x, force * y)
    one, other = (foam.press(profile, bed.lattice.support, 50.0, load) for foam in (anew, there))
    assert other.pressure_kpa == pytest.approx(one.pressure_kpa, rel=1e-6, abs=1e-6)
    assert other.roof == pytest.approx(one.roof, rel=1e-6, abs=1e-6)


def test_two_cells_of_foam_over_a_void_alone_can_be_factored():
    """Found by drawing: no bending joins their slides, so nothing but the trace holds these."""
    shape = (1, 2)
    stack = (Layer("middle", "firm", 1.0), Layer("base", "firm", 1.0))
    lattice = Lattice(np.arange(2) * 2.5, np.arange(1) * 2.5, 2.5, 2.5, np.ones(shape, dtype=bool))
    footprint = Footprint(np.ones(shape), np.ones(shape), np.full(shape, -FAR_MM), np.zeros((2, *shape)))
    bed = void_of(footprint, (1,), stack, foams_of(stack, FOAMS), lattice, np.ones(shape)).foundation
    tangent = np.array(bed._template, order="F")
    assert (tangent[0] == 0.0).any()
    tangent[0] += bed._trace
    cholesky_banded(tangent, lower=True)


def test_a_plate_that_nothing_holds_from_sliding_comes_to_rest():
    """A void through the whole of the loaded part, as an opening to both edges of a small insole: the cover
    lies on the base below, and its slide is anything.
    """
    shape, cell, far = (5, 5), 5.0, 60.0
    stack = (Layer("cover", "soft", 3.0), Layer("middle", "medium", 6.0), Layer("base", "firm", 6.0))
    lattice = Lattice(np.arange(5) * cell, np.arange(5) * cell, cell, cell, np.ones(shape, dtype=bool))
    footprint = Footprint(np.full(shape, 6.0), np.ones(shape), np.full(shape, -FAR_MM), np.zeros((2, *shape)))
    bed = void_of(footprint, (1,), stack, foams_of(stack, FOAMS), lattice, np.full(shape, far)).foundation
    force = far * 1e-3 * 25 * lattice.area
    state = bed.press(np.zeros(shape), lattice.support, 50.0, Load(force, 10.0 * force, 10.0 * force))
    assert state.pressure_kpa == pytest.approx(np.full(shape, far), rel=1e-5)
    # Everything lies on the base, six millimetres down; whatever slide is left is rigid, stretching nothing.
    base = Series(np.array([[6.0]]), foams_of(stack[2:], FOAMS)).compression(np.array([far]))[0]
    assert state.roof[0] == pytest.approx(np.full(shape, 6.0 + base), rel=1e-5)
    assert np.abs(np.diff(state.roof[3][:, :-1], axis=1)).max() < 1e-5
    assert np.abs(np.diff(state.roof[4][:-1], axis=0)).max() < 1e-5
