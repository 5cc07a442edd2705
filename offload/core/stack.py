"""The layers of an insole, from the foot down: cover, middle, base."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

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


def faults_of_stack(roles: Sequence[str]) -> list[str]:
    """Sentences on what is wrong with the order of the layers; empty if nothing is."""
    if not roles:
        return ["stack has 0 layers; the limit is one cover first, 0 to 2 middles, one base last"]
    faults = []
    if roles[0] != "cover" or roles.count("cover") != 1:
        faults.append(f"stack is {', '.join(roles)}; the limit is exactly one cover, and it comes first")
    if roles[-1] != "base" or roles.count("base") != 1:
        faults.append(f"stack is {', '.join(roles)}; the limit is exactly one base, and it comes last")
    if roles.count("middle") > MOST_MIDDLES:
        faults.append(f"stack has {roles.count('middle')} middles; the limit is {MOST_MIDDLES}")
    return faults
