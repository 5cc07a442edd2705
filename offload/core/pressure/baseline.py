"""The pressure before any cut: a measured map or the open reference map, brought to a load case."""

from __future__ import annotations

import tomllib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache
from importlib import resources
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from offload.core.errors import Fault, SpecError
from offload.core.pressure.device_load import FLAT_SHOE, Factor, cell_factors, factor_at, region_of_case
from offload.core.pressure.grid import PressureMap
from offload.core.pressure.lattice import Lattice, Load
from offload.core.pressure.placement import on_insole
from offload.core.shapes.insole import Insole
from offload.core.shapes.lesion import LesionSpec

__all__ = [
    "LOAD_CASES",
    "Baseline",
    "baseline_for",
    "lattice_for",
    "load_case_of",
    "load_constants",
    "reference_print",
]

Array = NDArray[np.float64]

LOAD_CASES = ("push_off", "heel_strike", "mid_stance")
REACH_MM = 15.0
"""Foam kept beyond the loaded part [mm]; about four times the length over which the coupling dies away."""

# Landmarks as fractions of the loaded print: x from its medial edge, y from the heel. Read off the reference
# map (means of both feet); heads 2 and 3 are one maximum there.
PRINT_LANDMARKS: dict[tuple[str, ...], tuple[float, float]] = {
    ("heel",): (0.30, 0.139),
    ("metatarsal_head_1",): (0.225, 0.713),
    ("metatarsal_head_2", "metatarsal_head_3"): (0.475, 0.750),
    ("metatarsal_head_5",): (0.84, 0.602),
    ("hallux",): (0.225, 0.898),
    ("toe_2", "toe_3"): (0.56, 0.917),
    ("toe_5",): (0.825, 0.815),
}


@dataclass(frozen=True, slots=True)
class Baseline:
    """Pressure on the uncut insole in one load case.

    Attributes
    ----------
    kind
        ``measured`` or ``reference``.
    case
        ``push_off``, ``heel_strike`` or ``mid_stance``.
    lattice
        Cells of the part of the insole that takes part.
    pressure_kpa
        Shape ``(ny, nx)``.
    load
        Force [N] and moments [N mm] of ``pressure_kpa``.
    factor
        By what the map was multiplied to carry the case's force; 1 for a measured instant.
    device_factor
        By what it was then multiplied for the device, in the region that decides the case.
    notes
        What was done, in sentences.
    """

    kind: str
    case: str
    lattice: Lattice
    pressure_kpa: Array
    load: Load
    factor: float
    notes: tuple[str, ...]
    device_factor: Factor = FLAT_SHOE


@cache
def load_constants() -> dict[str, Any]:
    """Shares of body weight, tissue stiffness and limits, each with its source."""
    return tomllib.loads(
        resources.files("offload.core").joinpath("data/loads.toml").read_text(encoding="utf-8")
    )


@cache
def reference_print() -> Array:
    """The loaded part of the reference peak map [kPa, assumed], rows heel to toes, columns medial to lateral.

    Returns
    -------
    ndarray, shape (54, 20)
        Mean of the right foot and the mirrored left foot, on an assumed pitch of 5 mm.

    References
    ----------
    Pataky TC et al., Gait & Posture 2011;33(3):418-422 (data: MIT licence, shipped beside this module).
    """
    folder = resources.files("offload.core").joinpath("data/reference_map")
    feet = []
    for name, mirrored in (("mun104_left.csv", True), ("mun104_right.csv", False)):
        rows = folder.joinpath(name).read_text(encoding="ascii").split()
        grid = np.array([[float(value) for value in row.split(",")] for row in rows])
        held = np.flatnonzero(grid.any(axis=1)), np.flatnonzero(grid.any(axis=0))
        loaded = grid[held[0][0] : held[0][-1] + 1, held[1][0] : held[1][-1] + 1]
        feet.append(loaded[:, ::-1] if mirrored else loaded)
    mean: Array = (feet[0] + feet[1]) / 2.0
    mean.setflags(write=False)
    return mean


def load_case_of(insole: Insole, lesion: LesionSpec) -> str:
    """The load case in which a lesion is solved, by the zone its centre lies in.

    Forefoot and toes carry most at push-off, the heel at heel strike, the midfoot at mid-stance.
    """
    zone = insole.zone_of(lesion.outline.centroid[1])
    return {"rearfoot": "heel_strike", "midfoot": "mid_stance"}.get(zone, "push_off")


def lattice_for(insole: Insole, cell_mm: float, measured: PressureMap | None = None) -> Lattice:
    """Square cells over the whole insole; a cell is foam when its centre lies on the insole.

    The cells' sides lie on whole multiples of their size, or on the sides of a measured map's cells.
    """
    x0, y0, x1, y1 = insole.outline.bounds
    at = measured.origin if measured is not None else (0.0, 0.0)
    x = _centres(x0, x1, at[0], cell_mm)
    y = _centres(y0, y1, at[1], cell_mm)
    polygon = insole.outline.polygon
    shapely.prepare(polygon)
    support = shapely.contains_xy(polygon, *np.meshgrid(x, y))
    return Lattice(x, y, cell_mm, cell_mm, support)


def baseline_for(
    insole: Insole,
    weight_kg: float,
    case: str,
    lattice: Lattice,
    measured: PressureMap | None = None,
    device: str | None = None,
) -> Baseline:
    """Pressure before the cut in one load case, on the cells that take part in it.

    Parameters
    ----------
    insole, weight_kg, case
        Where and how much: the case's share of body weight stands on the case's part of the sole.
    lattice
        Cells of the whole insole.
    measured
        A measured map, or None for the reference map.
    device
        Class of the device the insole is worn in, one of ``device_load.DEVICES``; None for a flat shoe.

    Raises
    ------
    SpecError
        When a measured map carries nothing on the insole or in the case's part. That it lies on the insole
        and, as an instant, integrates to a human load is checked before (``placement.faults_of_map``).

    Notes
    -----
    A peak map gathers moments that never were together, so it is not summed into a force: the part loaded in
    the case is scaled to the case's force. An instant is used as it is. Either is then multiplied by the
    device's published factor in each zone, so the load that is solved is what the device leaves; what the
    leg, the midfoot and the heel take instead is not placed.
    """
    if measured is None:
        kind, pressure = "reference", _reference_on(insole, lattice)
    else:
        kind = "measured"
        lattice, pressure = _measured_on(insole, lattice, measured)
    if not pressure.any():
        raise _unloaded("on the insole", "some load")
    constants = load_constants()
    body = weight_kg * constants["constants"]["gravity"]["value"]
    if measured is not None and measured.kind == "instant":
        load = lattice.load_of(pressure)
        share = load.force_n / body
        note = f"The measured instant is used as it is: {load.force_n:.0f} N, {share:.2f} body weights."
        return _in_device(
            insole, Baseline(kind, case, lattice, pressure, load, 1.0, (note,)), device, measured
        )
    low_line, high_line, _ = insole.zone_lines
    if case == "push_off":
        part, pressure = "distal of the midfoot", pressure * (lattice.y >= high_line)[:, None]
    elif case == "heel_strike":
        part, pressure = "of the rearfoot", pressure * (lattice.y < low_line)[:, None]
    else:
        part = "of the whole print"
    wanted = constants["case"][case]["share"] * body
    held = lattice.load_of(pressure).force_n
    if held <= 0:
        raise _unloaded(part, f"some load there for {_words(case)}")
    factor = wanted / held
    pressure = pressure * factor
    name = "measured peak map" if measured is not None else "reference map"
    note = (
        f"{_words(case).capitalize()}: the cells {part} of the {name} are multiplied by {factor:.3f} to "
        "carry "
        f"{constants['case'][case]['share']:g} x body weight, {wanted:.0f} N."
    )
    load = lattice.load_of(pressure)
    return _in_device(
        insole, Baseline(kind, case, lattice, pressure, load, factor, (note,)), device, measured
    )


def _in_device(insole: Insole, flat: Baseline, device: str | None, measured: PressureMap | None) -> Baseline:
    """The load that a device leaves of a map, on the cells that take part."""
    taken = None if measured is None else measured.taken
    factor = factor_at(region_of_case(flat.case), device, taken)
    pressure, notes, load = flat.pressure_kpa, flat.notes, flat.load
    if factor is not FLAT_SHOE:
        pressure = pressure * cell_factors(insole, flat.lattice.y, device, taken)[:, None]
        load = flat.lattice.load_of(pressure)
        what = "of a barefoot map, brought to a flat shoe" if device is None else f"in the device ({device})"
        if device is not None and taken == "barefoot":
            what += ", the barefoot map brought to a shoe first"
        notes += (
            f"The load {what}: pressure here is multiplied by {factor.central:g} (published {factor.low:g} "
            f"to {factor.high:g}), "
            f"so {load.force_n:.0f} N of {flat.load.force_n:.0f} N are placed; what leg, midfoot and heel "
            "take of the rest is "
            f"not. Source: {factor.source} ({factor.status}).",
        )
    window, held = _window(flat.lattice, pressure)
    return replace(flat, notes=notes, device_factor=factor, load=load, lattice=window, pressure_kpa=held)


def _unloaded(part: str, limit: str) -> SpecError:
    return SpecError([Fault(("pressure_map",), 0.0, limit, f"carries 0 N {part}")])


def _words(case: str) -> str:
    return case.replace("_", " " if case == "heel_strike" else "-")


def _centres(low: float, high: float, at: float, size: float) -> Array:
    first = np.floor((low - at) / size + 1e-9)
    last = np.ceil((high - at) / size - 1e-9)
    return np.asarray(at + (np.arange(first, last) + 0.5) * size, dtype=np.float64)


def _window(lattice: Lattice, pressure: Array) -> tuple[Lattice, Array]:
    """Rows and columns within reach of the load."""
    rows = _near(lattice.y, (pressure > 0).any(axis=1), REACH_MM)
    columns = _near(lattice.x, (pressure > 0).any(axis=0), REACH_MM)
    support = lattice.support[rows, columns]
    return Lattice(lattice.x[columns], lattice.y[rows], lattice.dx, lattice.dy, support), pressure[
        rows, columns
    ]


def _near(centres: Array, held: Any, reach: float) -> slice:
    loaded = centres[held]
    kept = np.flatnonzero((centres >= loaded[0] - reach) & (centres <= loaded[-1] + reach))
    return slice(int(kept[0]), int(kept[-1]) + 1)


def _reference_on(insole: Insole, lattice: Lattice) -> Array:
    """Reference print under the insole's landmarks, sampled at the cell centres [kPa, before scaling]."""
    grid = reference_print()
    to_print = _placing(insole)
    x, y = np.meshgrid(lattice.x, lattice.y)
    across, along = (to_print @ np.stack([np.ones(x.size), x.ravel(), y.ravel()])).reshape(2, *x.shape)
    # Sides of the print lie at 0 and 1, so the first cell's centre is half a cell in; no load beyond.
    padded = np.pad(grid, 1)
    column = np.clip(across * grid.shape[1] + 0.5, 0.0, grid.shape[1] + 1.0 - 1e-9)
    row = np.clip(along * grid.shape[0] + 0.5, 0.0, grid.shape[0] + 1.0 - 1e-9)
    i, j = row.astype(int), column.astype(int)
    v, u = row - i, column - j
    sampled = (1 - v) * ((1 - u) * padded[i, j] + u * padded[i, j + 1]) + v * (
        (1 - u) * padded[i + 1, j] + u * padded[i + 1, j + 1]
    )
    # Less than one unit of a map of whole numbers is no contact.
    return np.where(lattice.support & (sampled >= 1.0), sampled, 0.0)


def _placing(insole: Insole) -> Array:
    """Affine map from the insole's frame [mm] to fractions of the print, shape (2, 3)."""
    at = {mark.name: mark.at for mark in insole.landmarks}
    fractions, places = [], []
    for names, fraction in PRINT_LANDMARKS.items():
        if all(name in at for name in names):
            fractions.append(fraction)
            places.append(np.mean([at[name] for name in names], axis=0))
    if len(places) < 3:
        found = f"name {len(places)} places of the print"
        raise SpecError([Fault(("landmarks",), len(places), "3 to lay the map on", found)])
    design = np.column_stack([np.ones(len(places)), np.array(places)])
    fitted: Array = np.linalg.lstsq(design, np.array(fractions), rcond=None)[0].T
    return fitted


def _measured_on(insole: Insole, lattice: Lattice, measured: PressureMap) -> tuple[Lattice, Array]:
    """A measured map on the cells, its integral kept; map cells whose centre is off the insole are left
    out.
    """
    kept = np.where(on_insole(measured, insole.outline), measured.grid(), 0.0)
    x, y = measured.centres()
    along = _overlap(lattice.y, lattice.dy, y, measured.cell[1])
    across = _overlap(lattice.x, lattice.dx, x, measured.cell[0])
    pressure = along @ kept @ across.T
    pressure[pressure < 1e-9 * pressure.max()] = 0.0
    support = lattice.support | (pressure > 0)
    return Lattice(lattice.x, lattice.y, lattice.dx, lattice.dy, support), pressure


def _overlap(cells: Array, size: float, others: Sequence[float] | Array, other_size: float) -> Array:
    """Share of each cell that each cell of the map covers, shape (cells, others)."""
    low = np.maximum(cells[:, None] - size / 2, np.asarray(others)[None, :] - other_size / 2)
    high = np.minimum(cells[:, None] + size / 2, np.asarray(others)[None, :] + other_size / 2)
    return np.maximum(high - low, 0.0) / size
