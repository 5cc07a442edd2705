"""The layers of an insole, from the foot down: cover, middle, base."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from offload.core.errors import Fault
from offload.core.shapes.outline import Outline

__all__ = [
    "CUTS",
    "DEMONSTRATION_STACK",
    "MOST_INLAYS",
    "PACKAGED_FOAMS",
    "ROLES",
    "Inlay",
    "Layer",
    "faults_of_stack",
    "foams_named",
]

ROLES = ("cover", "middle", "base")
CUTS = ("middle", "base", "middle+base")
PACKAGED_FOAMS = ("soft", "medium", "firm")
THICKNESS_LIMITS = (0.5, 30.0)  # [mm] sheet goods; common practice, no source
MOST_MIDDLES = 2
MOST_INLAYS = 4  # in one layer; design choice


@dataclass(frozen=True)
class Inlay:
    """A piece of another foam let into a layer through its full thickness.

    Parameters
    ----------
    foam : str
        Id of the foam.
    region : Outline
        Where it lies, in the anatomical frame; a ring without holes. An opening within it is cut through the
        inlay once that is glued in. [mm]
    """

    foam: str
    region: Outline


@dataclass(frozen=True)
class Layer:
    """One sheet of foam.

    Parameters
    ----------
    role : str
        ``cover`` (touches the foot, never cut), ``middle`` or ``base``.
    foam : str
        Id of the foam.
    thickness : float
        Remaining thickness. [mm]
    inlays : tuple of Inlay
        Pieces of other foam in it.
    """

    role: str
    foam: str
    thickness: float
    inlays: tuple[Inlay, ...] = ()


# 3 / 6 / 6 mm: a demonstration, not a recommendation; each site enters its own.
DEMONSTRATION_STACK = (
    Layer("cover", "soft", 3.0),
    Layer("middle", "medium", 6.0),
    Layer("base", "firm", 6.0),
)


def foams_named(stack: Sequence[Layer]) -> set[str]:
    """Ids of all foams of a stack, those of inlays among them."""
    return {layer.foam for layer in stack} | {inlay.foam for layer in stack for inlay in layer.inlays}


def faults_of_stack(roles: Sequence[str]) -> list[Fault]:
    """What is wrong with the order of the layers; empty if nothing is."""
    middles = roles[1:-1]
    right = len(roles) >= 2 and roles[0] == "cover" and roles[-1] == "base"
    if right and len(middles) <= MOST_MIDDLES and all(role == "middle" for role in middles):
        return []
    return [
        Fault(
            ("stack",),
            tuple(roles),
            f"one cover first, 0 to {MOST_MIDDLES} middles, one base last",
            f"is {', '.join(roles) or 'empty'}",
        )
    ]
