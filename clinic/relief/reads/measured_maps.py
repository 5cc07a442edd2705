"""Pressure maps measured under a foot: which stand, and where they lie on its insole."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from clinic.models import Limb, LimbPlan, MeasuredMap
from clinic.people.reads.limbs import insole_of_limb
from clinic.record.dates import day_words
from clinic.record.errors import Refused
from offload.core.errors import ReliefError
from offload.core.pressure.grid import PressureMap
from offload.core.pressure.measured import GridError, MeasuredGrid, Placement, place_on_landmarks
from offload.core.pressure.placement import share_off_insole
from offload.core.shapes.insole import Insole

__all__ = ["MapFacts", "grid_of", "laid_map", "map_facts", "map_spec", "maps_of", "place_of"]


def maps_of(limb: Limb) -> list[MeasuredMap]:
    """The maps that stand, the newest first (one query)."""
    return list(limb.measured_maps.filter(withdrawn_on__isnull=True))


def grid_of(row: MeasuredMap) -> MeasuredGrid:
    """A stored map as the core reads it."""
    cell = float(row.cell_across_mm), float(row.cell_along_mm)
    return MeasuredGrid(tuple(map(tuple, row.kpa)), cell, row.kind)


def place_of(row: MeasuredMap, insole: Insole) -> Placement:
    """A stored map laid on an insole; GridError when it does not fit between its landmarks any more."""
    one, other = ((name, float(across), float(along)) for name, across, along in row.points)
    return place_on_landmarks(grid_of(row), (one, other), insole)


def map_spec(row: MeasuredMap, insole: Insole) -> PressureMap:
    """A stored map as a plan starts from it, to 0.01 kPa."""
    laid = place_of(row, insole).map
    kpa = tuple(tuple(round(value, 2) for value in line) for line in laid.kpa)
    return replace(laid, kpa=kpa, taken=row.taken)


def laid_map(row: MeasuredMap, insole: Insole) -> PressureMap:
    """A stored map as a plan starts from it; refused when it does not fit the insole any more."""
    try:
        return map_spec(row, insole)
    except GridError as fault:
        raise Refused(
            f"Pressure before the cut: the map of {day_words(row.measured_on)} does not fit this insole; "
            f"{fault}",
            field="baseline",
        ) from fault


@dataclass(frozen=True)
class MapFacts:
    """What a page says of one map; `trouble` instead of `insole` and `placed` when it cannot be laid."""

    row: MeasuredMap
    peak_kpa: float
    loaded_cm2: float
    force_n: float | None
    rows: int
    columns: int
    turn_deg: float = 0.0
    misfit_mm: float = 0.0
    off_percent: float = 0.0
    insole: Insole | None = None
    placed: PressureMap | None = None
    trouble: str = ""
    plans: Sequence[LimbPlan] = ()


def map_facts(row: MeasuredMap) -> MapFacts:
    """Figures of a map, where it lies on the insole, and the plans that start from it (one query)."""
    grid = grid_of(row)
    values = [value for line in grid.kpa for value in line]
    cell = grid.cell[0] * grid.cell[1]
    facts: dict[str, Any] = {
        "row": row,
        "peak_kpa": max(values),
        "loaded_cm2": sum(value > 0 for value in values) * cell / 100.0,
        "force_n": grid.force if row.kind == "instant" else None,
        "rows": len(grid.kpa),
        "columns": len(grid.kpa[0]),
        "plans": list(row.plans.select_related("plan")),
    }
    insole = insole_of_limb(row.limb)
    if insole is None:
        return MapFacts(
            **facts, trouble="The foot's length is not recorded, so there is no insole to lay it on."
        )
    try:
        placed = place_of(row, insole)
    except ReliefError as fault:
        return MapFacts(**facts, trouble=f"It does not fit this insole: {fault}")
    return MapFacts(
        **facts,
        turn_deg=placed.turn,
        misfit_mm=placed.misfit,
        off_percent=share_off_insole(placed.map, insole.outline),
        insole=insole,
        placed=placed.map,
    )
