"""A lesion as it prints on the insole: a traced ring, or an ellipse of known length and width."""

from __future__ import annotations

from dataclasses import dataclass

from offload.core.shapes.outline import Outline, Point

__all__ = ["Ellipse", "LesionSpec"]


@dataclass(frozen=True)
class Ellipse:
    """A lesion known by its length and width only.

    Parameters
    ----------
    centre : (float, float)
        In the anatomical frame. [mm]
    length, width : float
        Full axes; the length lies along +y at angle 0. [mm]
    angle : float
        Counter-clockwise turn. [deg]
    """

    centre: Point
    length: float
    width: float
    angle: float = 0.0

    def outline(self, name: str = "ellipse") -> Outline:
        """The ellipse as a ring; OutlineError if it has no area."""
        return Outline.ellipse(self.centre, self.length, self.width, self.angle, name=name)


@dataclass(frozen=True)
class LesionSpec:
    """One lesion as it prints on the insole.

    Parameters
    ----------
    label : str
        Short name, unique in the plan.
    outline : Outline
        Outer ring in the anatomical frame. [mm]
    ellipse : Ellipse or None
        What the outline was drawn from, where it was not traced.
    """

    label: str
    outline: Outline
    ellipse: Ellipse | None = None

    @classmethod
    def of_shape(cls, label: str, shape: Ellipse | Outline) -> LesionSpec:
        """A lesion of either kind of shape."""
        if isinstance(shape, Ellipse):
            return cls(label, shape.outline(), shape)
        return cls(label, shape)
