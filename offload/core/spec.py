"""What is asked of a relief plan: foot, weight, lesions, layers, margins."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .outline import Outline, Point
from .stack import DEMONSTRATION_STACK, Layer

__all__ = ["LesionSpec", "PressureMap", "ReliefSpec"]


@dataclass(frozen=True)
class LesionSpec:
    """One lesion as it prints on the insole.

    Parameters
    ----------
    label : str
        Short name, unique in the plan.
    outline : Outline
        Outer ring in the anatomical frame. [mm]
    """

    label: str
    outline: Outline


@dataclass(frozen=True)
class PressureMap:
    """Measured plantar pressure on a rectangular grid in the anatomical frame.

    Parameters
    ----------
    kpa : tuple of tuple of float, shape (ny, nx)
        Rows run along +y, columns along +x. [kPa]
    cell : (float, float)
        Size of a cell, dx and dy. [mm]
    origin : (float, float)
        Corner of cell [0][0] with the smallest x and y. [mm]
    kind : str
        ``peak`` (largest value of each cell over the step) or ``instant`` (one moment).
    taken : str
        ``barefoot``, in a flat ``shoe``, or in the ``device`` the insole is for.
    """

    kpa: tuple[tuple[float, ...], ...]
    cell: Point
    origin: Point
    kind: str = "peak"
    taken: str = "shoe"

    def grid(self) -> np.ndarray:
        """Pressures as an array of shape (ny, nx). [kPa]"""
        return np.asarray(self.kpa, dtype=float)

    def centres(self) -> tuple[np.ndarray, np.ndarray]:
        """x of the columns, shape (nx,), and y of the rows, shape (ny,). [mm]"""
        rows, columns = len(self.kpa), len(self.kpa[0])
        return (
            self.origin[0] + (np.arange(columns) + 0.5) * self.cell[0],
            self.origin[1] + (np.arange(rows) + 0.5) * self.cell[1],
        )

    def force(self) -> float:
        """Integral of the map. [N]"""
        return float(self.grid().sum()) * self.cell[0] * self.cell[1] / 1000.0


@dataclass(frozen=True)
class ReliefSpec:
    """All that a relief plan is computed from. It knows no person.

    Parameters
    ----------
    side : str
        ``left`` or ``right``.
    foot_length, foot_width : float, float or None
        Foot length and breadth; without the breadth it is estimated from the length. [mm]
    body_weight : float
        [kg]
    lesions : tuple of LesionSpec
        At least one.
    stack : tuple of Layer
        From the foot down.
    insole_outline : Outline or None
        Traced insole; without it the outline is drawn from the foot's length and breadth.
    margin, distal_margin : float
        Margin all round and towards the toes. [mm]
    bevel : float
        Angle of the wall to the surface. [deg]
    margin_face : str
        Face on which the margin is measured: ``floor`` or ``opening`` (foot-facing).
    cut : str
        ``auto``, ``middle``, ``base`` or ``middle+base``.
    rigid_deformity : bool
        A rigid, deformed foot.
    pressure_map : PressureMap or None
        Measured pressure, if there is one.
    device : str or None
        Class of the device the insole is worn in; None for a flat shoe.
    """

    side: str
    foot_length: float
    body_weight: float
    lesions: tuple[LesionSpec, ...]
    foot_width: float | None = None
    insole_outline: Outline | None = None
    stack: tuple[Layer, ...] = DEMONSTRATION_STACK
    margin: float = 5.0
    distal_margin: float = 10.0
    bevel: float = 45.0
    margin_face: str = "floor"
    cut: str = "auto"
    rigid_deformity: bool = False
    pressure_map: PressureMap | None = None
    device: str | None = None
