"""Whether lesions and pressure cells lie on the insole, and whether a measured map is plausible."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely

from offload.core.errors import Fault
from offload.core.pressure.grid import PressureMap
from offload.core.shapes.lesion import LesionSpec
from offload.core.shapes.outline import Outline

__all__ = ["STANDARD_GRAVITY", "faults_of_lesions", "faults_of_map", "share_off_insole"]

STANDARD_GRAVITY = 9.80665  # [m/s²]
LARGEST_SHARE_OFF = 10.0  # [%] of the load on cells off the insole
INSTANT_LOAD = (0.3, 1.4)  # body weights one moment of walking can carry
SMALL = 1e-6  # [mm²]


def faults_of_lesions(lesions: Sequence[LesionSpec], insole: Outline) -> list[Fault]:
    """The place of each lesion that is not wholly on the insole."""
    faults = []
    for place, lesion in enumerate(lesions):
        off = float(lesion.outline.polygon.difference(insole.polygon).area)
        if off > SMALL:
            share = 100.0 * off / lesion.outline.area
            faults.append(
                Fault(
                    ("lesions", place, "centre_mm"),
                    off,
                    "0: wholly on it",
                    f"ulcer {lesion.label} lies {off:.1f} mm² ({share:.0f} %) off the insole",
                    "lesions:",
                )
            )
    return faults


def share_off_insole(pressure_map: PressureMap, insole: Outline) -> float:
    """Share of a map's load on cells whose centre is off the insole. [%]"""
    grid = pressure_map.grid()
    total = float(grid.sum())
    return 100.0 * float(grid[~on_insole(pressure_map, insole)].sum()) / total if total > 0.0 else 0.0


def on_insole(pressure_map: PressureMap, insole: Outline) -> np.ndarray:
    """Which cells have their centre on the insole, shape (ny, nx)."""
    xs, ys = pressure_map.centres()
    across, along = np.meshgrid(xs, ys)
    return shapely.contains_xy(insole.polygon, across, along)


def faults_of_map(pressure_map: PressureMap, insole: Outline, body_weight: float) -> list[Fault]:
    """What is wrong with a map that lies off the insole or, as one instant, carries an impossible load."""
    off = share_off_insole(pressure_map, insole)
    if off > LARGEST_SHARE_OFF:
        return [
            Fault(
                ("pressure_map",),
                off,
                f"{LARGEST_SHARE_OFF:g} %",
                f"{off:.0f} % of the load lie on cells off the insole",
                "pressure_map:",
            )
        ]
    if pressure_map.kind != "instant":
        return []
    on = on_insole(pressure_map, insole)
    cell = pressure_map.cell[0] * pressure_map.cell[1] / 1000.0
    weights = float(pressure_map.grid()[on].sum()) * cell / (body_weight * STANDARD_GRAVITY)
    low, high = INSTANT_LOAD
    if low <= weights <= high:
        return []
    return [
        Fault(
            ("pressure_map",),
            weights,
            f"{low} to {high}: check unit, cell size and kind",
            f"kind 'instant' carries {weights:.2f} body weights",
            "pressure_map:",
        )
    ]
