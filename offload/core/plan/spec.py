"""What is asked of a relief plan: foot, weight, lesions, layers, margins."""

from __future__ import annotations

from dataclasses import dataclass

from offload.core.foam.stack import DEMONSTRATION_STACK, Layer
from offload.core.pressure.grid import PressureMap
from offload.core.shapes.lesion import LesionSpec
from offload.core.shapes.outline import Outline

__all__ = ["ReliefSpec"]


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
