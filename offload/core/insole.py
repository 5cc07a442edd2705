"""The insole: outline, zone lines and landmarks from foot length and breadth, or traced."""

from __future__ import annotations

from dataclasses import dataclass

from .outline import Outline, Point

__all__ = ["ZONES", "Insole", "Landmark"]

ZONES = ("rearfoot", "midfoot", "forefoot", "toes")


@dataclass(frozen=True)
class Landmark:
    """A named point of the foot on the insole; draggable, since deformity is the rule. [mm]"""

    name: str
    at: Point


@dataclass(frozen=True)
class Insole:
    """An insole in the anatomical frame (y from heel to toes, x lateral).

    Parameters
    ----------
    outline : Outline
        [mm]
    foot_length, foot_width, heel_width : float
        [mm]
    zone_lines : (float, float, float)
        y of the lines rearfoot|midfoot, midfoot|forefoot, forefoot|toes. [mm]
    landmarks : tuple of Landmark
        Hallux, toes, metatarsal heads 1 to 5, heel.
    traced : bool
        Whether the outline was traced rather than estimated.
    notes : tuple of str
        What was estimated, in sentences.
    """

    outline: Outline
    foot_length: float
    foot_width: float
    heel_width: float
    zone_lines: tuple[float, float, float]
    landmarks: tuple[Landmark, ...]
    traced: bool
    notes: tuple[str, ...] = ()

    def zone_of(self, y: float) -> str:
        """Name of the zone in which a point at this y lies; a line belongs to the zone beyond it."""
        return ZONES[sum(y >= line for line in self.zone_lines)]
