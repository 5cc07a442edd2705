"""A measured pressure grid: read from CSV or JSON, brought to kPa, laid on the insole by two landmarks."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from offload.core.errors import ReliefError
from offload.core.intake import Bounds, IntakeError, csv_rows, json_value, number_of
from offload.core.pressure.grid import PressureMap
from offload.core.shapes.insole import Insole
from offload.core.shapes.outline import Point

__all__ = [
    "KPA_PER",
    "GridError",
    "GridPoint",
    "MeasuredGrid",
    "Placement",
    "place_grid",
    "place_on_landmarks",
    "read_grid",
    "well_placed",
]

Array = NDArray[np.float64]
GridPoint = tuple[str, float, float]
"""A landmark of the insole and the point of the grid under it [mm]: name, across, along."""

KPA_PER = {"kPa": 1.0, "N/cm2": 10.0}
"""kPa in one unit of what a measuring system prints."""
KINDS = ("peak", "instant")
MOST_CELLS = 400
LARGEST_GRID = 400_000  # characters
GRID = Bounds(LARGEST_GRID, MOST_CELLS * MOST_CELLS, depth=3)
CELL_LIMITS = (1.0, 20.0)  # [mm]
HIGHEST_KPA = 3000.0
MOST_STRETCH = 0.10
MOST_MISFIT = 12.0
"""Most by which the distances of two points and of their landmarks may differ in a new grid [mm]. Design
choice: three times the 4.0 mm by which heel to ball scatters about its regression on foot length
(``loads.toml``, landmarks_along); a wrong cell size, 5 for 5.5 mm, is off by 16 mm from heel to ball.
"""
"""Largest difference between the landmarks' distance on the grid and on the insole [-]; design choice."""
MODEL_CELL = 2.5
"""Side of the pressure model's cells [mm]; a map is laid on cells no larger, so that its peaks stay."""
FINE, COARSE = 10, 4
"""Points sampled along a cell's side: in an ordinary grid, and in one of more than 20,000 cells."""


class GridError(ReliefError):
    """A file is no pressure grid, or the grid does not fit between the landmarks."""


@dataclass(frozen=True, slots=True)
class MeasuredGrid:
    """Pressures as measured, rows from heel to toes, columns from medial to lateral.

    Attributes
    ----------
    kpa
        Pressures [kPa].
    cell
        Size of a cell across and along the foot [mm].
    kind
        ``peak`` or ``instant``.
    """

    kpa: tuple[tuple[float, ...], ...]
    cell: tuple[float, float]
    kind: str

    @property
    def force(self) -> float:
        """Integral of the grid [N]. Of an instant only: a peak map is no force."""
        return sum(map(sum, self.kpa)) * self.cell[0] * self.cell[1] / 1000.0


@dataclass(frozen=True, slots=True)
class Placement:
    """A grid on the insole: the map, how far it was turned [deg] and how badly the two distances agree, as a
    share [-] and as what the point farther from the heel misses its landmark by [mm].
    """

    map: PressureMap
    turn: float
    stretch: float
    misfit: float


def read_grid(
    text: str,
    *,
    cell: tuple[float, float],
    unit: str,
    kind: str,
    toes_first: bool = False,
    lateral_first: bool = False,
) -> MeasuredGrid:
    """Read a grid of numbers.

    Parameters
    ----------
    text
        CSV: one row of the grid a line, values separated by commas, semicolons or tabs, no header. JSON: a
        list of such rows, or an object as the ``pressure_map`` of a specification, whose ``cell_mm`` and
        ``kind`` must then be those given here and whose place is not used.
    cell
        Size of a cell across and along the foot [mm]; never guessed.
    unit
        ``kPa`` or ``N/cm2``; never guessed.
    kind
        ``peak`` (largest value of each cell over the step) or ``instant`` (one moment).
    toes_first, lateral_first
        Whether the first row lies at the toes, the first column at the lateral side.

    Raises
    ------
    GridError
        Naming the row and value that is no pressure, or the field out of bounds.
    """
    if unit not in KPA_PER:
        raise GridError(f"unit is {unit!r}; it must be one of {', '.join(KPA_PER)}.")
    if kind not in KINDS:
        raise GridError(f"kind is {kind!r}; it must be one of {', '.join(KINDS)}.")
    low, high = CELL_LIMITS
    if not all(math.isfinite(size) and low <= size <= high for size in cell):
        raise GridError(f"cell is {cell[0]:g} x {cell[1]:g} mm; each side must be {low:g} to {high:g} mm.")
    text = text.strip()
    try:
        rows: list[list[Any]]
        json_like = text[:1] in ("[", "{")
        rows = _rows_of_json(text, cell, unit, kind) if json_like else list(csv_rows(text, GRID))
    except IntakeError as fault:
        raise GridError(f"it is no grid: {fault}.") from fault
    if not rows or max(len(rows), len(rows[0])) > MOST_CELLS:
        raise GridError(f"the grid has {len(rows)} rows; it must have 1 to {MOST_CELLS} rows and columns.")
    kpa = np.array([_row(row, number, len(rows[0]), unit) for number, row in enumerate(rows, 1)])
    if not kpa.any():
        raise GridError("the grid is 0 everywhere; it must carry some load.")
    kpa = kpa[::-1] if toes_first else kpa
    kpa = kpa[:, ::-1] if lateral_first else kpa
    return MeasuredGrid(tuple(map(tuple, kpa.tolist())), cell, kind)


def _rows_of_json(text: str, cell: tuple[float, float], unit: str, kind: str) -> list[list[Any]]:
    data = json_value(text, GRID)
    if isinstance(data, dict):
        data = _agreeing(data, cell, unit, kind)
    if not isinstance(data, list) or not all(isinstance(row, list) and row for row in data):
        raise GridError("the JSON is no list of rows; each row must be a list of 1 or more numbers.")
    return data


def _agreeing(data: dict[str, Any], cell: tuple[float, float], unit: str, kind: str) -> Any:
    """The rows of an object; what it says of itself must agree with what was asked of the person."""
    unknown = sorted(set(data) - {"kpa", "cell_mm", "origin_mm", "kind"})
    if unknown or "kpa" not in data:
        what = f"the field {unknown[0]!r}" if unknown else "no field 'kpa'"
        raise GridError(f"the JSON object has {what}; it may have kpa, cell_mm, origin_mm and kind.")
    if unit != "kPa":
        raise GridError(f"the field 'kpa' is in kPa, and the unit given is {unit}; both must be the same.")
    for name, given in (("cell_mm", list(cell)), ("kind", kind)):
        if name in data and data[name] != given:
            raise GridError(
                f"the file says {name} {data[name]!r} and {given!r} was given; both must be the same."
            )
    return data["kpa"]


def _row(row: Sequence[Any], number: int, width: int, unit: str) -> list[float]:
    if len(row) != width:
        raise GridError(f"row {number} has {len(row)} values; it must have {width} like the first.")
    values = []
    for cell in row:
        try:
            read = number_of(cell) if isinstance(cell, str) else float(cell)
            value = math.nan if isinstance(cell, bool) else read * KPA_PER[unit]
        except (TypeError, ValueError, OverflowError):
            value = math.nan
        if not 0.0 <= value <= HIGHEST_KPA:
            shown = repr(cell.strip() if isinstance(cell, str) else cell)[:40]
            raise GridError(
                f"row {number} holds {shown}; a pressure must be a number from 0 to "
                f"{HIGHEST_KPA / KPA_PER[unit]:g} {unit} (a larger one is a wrong unit)."
            )
        values.append(value)
    return values


@lru_cache(maxsize=32)  # a grid is laid on the same insole many times a second while a lesion is dragged
def place_grid(grid: MeasuredGrid, on_grid: tuple[Point, Point], on_insole: tuple[Point, Point]) -> Placement:
    """Lay a grid on the insole so that two points of it meet two landmarks.

    Parameters
    ----------
    grid
        Rows from heel to toes, columns from medial to lateral.
    on_grid
        Two points of the grid [mm], from the corner at the heel's medial side: across, along.
    on_insole
        The landmarks they lie under, in the insole's frame [mm].

    Returns
    -------
    Placement
        The map turned and moved, never stretched, resampled on cells no larger than the model's with its
        integral and its peaks kept.

    Raises
    ------
    GridError
        When the points coincide, or their distance differs from the landmarks' by more than a tenth: then the
        cell size or a point is wrong.

    Notes
    -----
    The point nearer the heel meets its landmark and the other gives the direction, since a foot lies at its
    heel whatever its length; the difference in distance is left at the other end and reported. Where a cell
    higher than its neighbours would be averaged with them, the new cell that holds most of it keeps its value
    and those beside it give the difference, so that a peak is neither lost nor adds load.
    """
    a, b = np.array(on_grid, dtype=float)
    c, d = np.array(on_insole, dtype=float)
    here, there = float(np.hypot(*(b - a))), float(np.hypot(*(d - c)))
    if min(here, there) < 10.0:
        raise GridError(f"the two points lie {min(here, there):.1f} mm apart; at least 10 mm are needed.")
    stretch = there / here - 1.0
    if abs(stretch) > MOST_STRETCH:
        raise GridError(
            f"the points lie {here:.0f} mm apart on the grid and {there:.0f} mm on the insole; the limit is "
            "a "
            f"difference of {100 * MOST_STRETCH:.0f} % (check the cell size and the points)."
        )
    turn = math.atan2(*(d - c)[::-1]) - math.atan2(*(b - a)[::-1])
    cos, sin = math.cos(turn), math.sin(turn)
    rotation = np.array([[cos, -sin], [sin, cos]])
    shift = c - rotation @ a if c[1] <= d[1] else d - rotation @ b
    source = np.array(grid.kpa)
    size = np.array([source.shape[1] * grid.cell[0], source.shape[0] * grid.cell[1]])
    corners = np.array([[0.0, 0.0], [size[0], 0.0], [0.0, size[1]], size]) @ rotation.T + shift
    cell = min(*grid.cell, MODEL_CELL)
    low = np.floor(corners.min(axis=0) / cell) * cell
    count = np.ceil((corners.max(axis=0) - low) / cell).astype(int)
    samples = FINE if count.prod() <= 20_000 else COARSE
    fine = [low[i] + (np.arange(count[i] * samples) + 0.5) * cell / samples for i in (0, 1)]
    x, y = np.meshgrid(*fine)
    back = (np.stack([x.ravel(), y.ravel()], axis=1) - shift) @ rotation
    at = np.floor(back / np.array(grid.cell)).astype(int)
    held = np.all((at >= 0) & (at < np.array(source.shape[::-1])), axis=1)
    sampled = np.zeros(held.size)
    sampled[held] = source[at[held, 1], at[held, 0]]
    kpa = sampled.reshape(count[1], samples, count[0], samples).mean(axis=(1, 3))
    kpa *= source.sum() * grid.cell[0] * grid.cell[1] / (kpa.sum() * cell * cell)
    rows, columns = np.divmod(np.flatnonzero(held), count[0] * samples)
    under = rows // samples * count[0] + columns // samples
    _keep_peaks(kpa, source, at[held, 1] * source.shape[1] + at[held, 0], under)
    made = PressureMap(
        tuple(map(tuple, kpa.tolist())), (cell, cell), (float(low[0]), float(low[1])), grid.kind
    )
    return Placement(made, math.degrees(math.remainder(turn, 2 * math.pi)), stretch, abs(there - here))


def _keep_peaks(kpa: Array, source: Array, of: NDArray[np.int_], under: NDArray[np.int_]) -> None:
    """Give the height of every peak of the grid back to the cell that holds most of it, its load kept.

    `of` is the cell of the grid and `under` the cell of the map that each sample lies in.
    """
    flat = kpa.ravel()  # a view: what is written here stands in `kpa`
    order = np.argsort(of, kind="stable")
    of, under = of[order], under[order]
    peaks = np.flatnonzero((source > 0) & (source >= ndimage.maximum_filter(source, size=3)))
    for peak in peaks[np.argsort(source.ravel()[peaks], kind="stable")]:  # the highest last, and so exact
        cells, shares = np.unique(
            under[np.searchsorted(of, peak) : np.searchsorted(of, peak, "right")], return_counts=True
        )
        if len(cells) < 2:
            continue
        best = int(np.argmax(shares))
        missing = float(source.ravel()[peak] - flat[cells[best]])
        if missing <= 1e-6:
            continue
        beside = np.delete(cells, best)
        given = missing * np.delete(shares, best) / np.delete(shares, best).sum()
        given = np.minimum(given, flat[beside])
        flat[beside] -= given
        flat[cells[best]] += missing


def place_on_landmarks(grid: MeasuredGrid, points: tuple[GridPoint, GridPoint], insole: Insole) -> Placement:
    """Lay a grid on an insole by two of its landmarks.

    Parameters
    ----------
    grid
        As for ``place_grid``.
    points
        Two landmarks and the points of the grid under them.
    insole
        The insole.

    Raises
    ------
    GridError
        When the insole has no such landmark, and as ``place_grid``.
    """
    marks = {mark.name: mark.at for mark in insole.landmarks}
    missing = [name for name, _, _ in points if name not in marks]
    if missing:
        raise GridError(f"the insole has no landmark {missing[0].replace('_', ' ')}.")
    (one, *at_one), (other, *at_other) = points
    return place_grid(grid, ((at_one[0], at_one[1]), (at_other[0], at_other[1])), (marks[one], marks[other]))


def well_placed(placement: Placement) -> Placement:
    """The placement of a new grid, refused where its points miss their landmarks by too much; kept ones are
    laid as they were.

    Raises
    ------
    GridError
        When the distances differ by more than 12 mm.
    """
    if placement.misfit > MOST_MISFIT:
        raise GridError(
            f"the two points lie {placement.misfit:.1f} mm nearer or farther apart than their landmarks; the "
            f"limit is {MOST_MISFIT:g} mm (check the cell size and the points)."
        )
    return placement
