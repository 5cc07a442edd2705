"""The openings of a relief plan: floor, bevelled wall layer by layer, merging, notches."""

from __future__ import annotations

from dataclasses import dataclass

from .outline import Outline

__all__ = ["CutLayer", "Opening"]


@dataclass(frozen=True)
class CutLayer:
    """The outlines of one opening on the two faces of one cut layer.

    Parameters
    ----------
    index : int
        Place of the layer in the stack, 0 = cover.
    role : str
        ``middle`` or ``base``.
    top, bottom : Outline
        On the foot-facing face and on the lower face. [mm]
    """

    index: int
    role: str
    top: Outline
    bottom: Outline


@dataclass(frozen=True)
class Opening:
    """One opening in the insole, under one lesion or several that were merged.

    Parameters
    ----------
    labels : tuple of str
        Lesions over it, in the order of the specification.
    layers : tuple of CutLayer
        The cut layers from the foot down.
    open_to_edge : bool
        Whether it is a notch that runs out at the insole's edge.
    """

    labels: tuple[str, ...]
    layers: tuple[CutLayer, ...]
    open_to_edge: bool = False

    @property
    def opening(self) -> Outline:
        """Outline on the foot-facing face of the uppermost cut layer. [mm]"""
        return self.layers[0].top

    @property
    def floor(self) -> Outline:
        """Outline on the lowest face of the lowest cut layer. [mm]"""
        return self.layers[-1].bottom

    @property
    def area(self) -> float:
        """Area of the opening. [mm²]"""
        return self.opening.area

    @property
    def floor_area(self) -> float:
        """Area of the floor. [mm²]"""
        return self.floor.area
