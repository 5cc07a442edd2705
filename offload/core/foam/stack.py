"""The layers of an insole, from the foot down: cover, middle, base."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from offload.core.errors import Fault

__all__ = ["CUTS", "DEMONSTRATION_STACK", "PACKAGED_FOAMS", "ROLES", "Layer", "faults_of_stack"]

ROLES = ("cover", "middle", "base")
CUTS = ("middle", "base", "middle+base")
PACKAGED_FOAMS = ("soft", "medium", "firm")
THICKNESS_LIMITS = (0.5, 30.0)  # [mm] sheet goods; common practice, no source
MOST_MIDDLES = 2


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
    """

    role: str
    foam: str
    thickness: float


# 3 / 6 / 6 mm: a demonstration, not a recommendation; each site enters its own.
DEMONSTRATION_STACK = (
    Layer("cover", "soft", 3.0),
    Layer("middle", "medium", 6.0),
    Layer("base", "firm", 6.0),
)


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
