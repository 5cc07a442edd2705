"""Which layer to cut, and the house rules of cutting: values a clinic may replace."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from offload.core.errors import Fault, SpecError
from offload.core.foam.stack import Layer

__all__ = ["DEFAULT_POLICY", "INLAY_WALL", "INLAY_WIDTH", "CutDecision", "Policy", "decide"]

INLAY_WALL = 5.0
"""Thinnest wall of its own layer that stands round an inlay: to the insole's edge, and between two inlays
that do not touch [mm]; common practice, no source.
"""
INLAY_WIDTH = 10.0
"""Narrowest an inlay may be anywhere, and the narrowest rim of it round an opening [mm]; common practice, no
source.
"""


@dataclass(frozen=True)
class Policy:
    """House rules of a clinic. The defaults are common practice without a source, or design choices.

    Parameters
    ----------
    weight_threshold : float
        At or above it the base is cut, below it the middle (common practice, no source). [kg]
    least_web : float
        Thinnest web of foam between two openings at the upper face; the cut depth counts instead where it is
        larger (design choice, no source). [mm]
    edge_strip : float
        Thinnest strip between an opening and the insole's edge; below it the opening becomes a notch
        (design choice, no source). [mm]
    blade_radius : float
        Radius to which concave corners are rounded (common practice, no source). [mm]
    least_cover : float
        Thinnest cover that may span a void (design choice, no source). [mm]
    least_floor : float
        Thinnest foam left under a cut in the middle (design choice, no source). [mm]
    least_wall : float
        Nearest that a wall of the cut may stand to an ulcer's edge: what the tool may be off (common
        practice, no source). [mm]
    largest_zone_share : float
        Largest share of a zone that openings may take (design choice, no source). [%]
    weight_age : int
        Days after which a weight is old (design choice, no source). [d]
    """

    weight_threshold: float = 90.0
    least_web: float = 10.0
    edge_strip: float = 8.0
    blade_radius: float = 3.0
    least_cover: float = 2.0
    least_floor: float = 2.0
    least_wall: float = 1.0
    largest_zone_share: float = 40.0
    weight_age: int = 30


DEFAULT_POLICY = Policy()


@dataclass(frozen=True)
class CutDecision:
    """Layers to cut, why, and whether that departs from the policy.

    Parameters
    ----------
    cut_layers : tuple of str
        Roles from the foot down.
    policy_layers : tuple of str
        Roles the policy alone would cut.
    reasons : tuple of str
        Why these layers are cut, one sentence each.
    policy_reasons : tuple of str
        Why the policy alone would cut its own.
    """

    cut_layers: tuple[str, ...]
    policy_layers: tuple[str, ...]
    reasons: tuple[str, ...]
    policy_reasons: tuple[str, ...]

    @property
    def departs(self) -> bool:
        """Whether the cut is not the policy's, so that a written reason is needed."""
        return self.cut_layers != self.policy_layers


def decide(
    stack: Sequence[Layer],
    body_weight: float,
    rigid_deformity: bool = False,
    cut: str = "auto",
    policy: Policy = DEFAULT_POLICY,
) -> CutDecision:
    """Choose the layers to cut by weight and rigidity, or take the explicit choice.

    Parameters
    ----------
    stack : sequence of Layer
        From the foot down.
    body_weight : float
        [kg]
    rigid_deformity : bool
        Extends the policy's cut one layer down.
    cut : str
        ``auto``, ``middle``, ``base`` or ``middle+base``.
    policy : Policy

    Returns
    -------
    CutDecision

    Raises
    ------
    SpecError
        If a layer is asked for that the stack does not have.

    Examples
    --------
    >>> from offload.core.plan.policy import decide
    >>> from offload.core.plan.spec import DEMONSTRATION_STACK
    >>> light, heavy = (decide(DEMONSTRATION_STACK, body_weight) for body_weight in (70, 110))
    >>> light.cut_layers, heavy.cut_layers
    (('middle',), ('base',))
    >>> heavy.reasons
    ('Body weight 110 kg is above the threshold of 90 kg: cut the base.',)
    """
    has_middle = any(layer.role == "middle" for layer in stack)
    chosen, reasons = _by_policy(has_middle, body_weight, rigid_deformity, policy)
    if cut == "auto":
        return CutDecision(chosen, chosen, tuple(reasons), tuple(reasons))
    wanted = tuple(cut.split("+"))
    if "middle" in wanted and not has_middle:
        found = f"is {cut!r}, but the stack has no middle layer"
        raise SpecError([Fault(("cut",), cut, "'auto' or 'base'", found)])
    if wanted == chosen:
        agrees = f"Cutting {_words(wanted)} was asked for and agrees with the policy."
        return CutDecision(wanted, chosen, (*reasons, agrees), tuple(reasons))
    policy_words = " ".join(reasons)
    return CutDecision(
        wanted,
        chosen,
        (
            f"Cutting {_words(wanted)} was asked for and departs from the policy, which would cut "
            f"{_words(chosen)}: a written reason is needed. The policy's grounds: {policy_words}",
        ),
        tuple(reasons),
    )


def _by_policy(
    has_middle: bool, body_weight: float, rigid: bool, policy: Policy
) -> tuple[tuple[str, ...], list[str]]:
    weight, threshold = f"{body_weight:g} kg", f"{policy.weight_threshold:g} kg"
    reasons = []
    if body_weight >= policy.weight_threshold:
        chosen: tuple[str, ...] = ("base",)
        where = "is at" if body_weight == policy.weight_threshold else "is above"
        reasons.append(f"Body weight {weight} {where} the threshold of {threshold}: cut the base.")
    elif has_middle:
        chosen = ("middle",)
        reasons.append(f"Body weight {weight} is below the threshold of {threshold}: cut the middle.")
    else:
        chosen = ("base",)
        reasons.append(
            f"Body weight {weight} is below the threshold of {threshold}, which asks for the middle, but the "
            "stack has no middle layer: cut the base."
        )
    if rigid and chosen == ("middle",):
        chosen = ("middle", "base")
        reasons.append(
            "The foot is rigid and deformed: the opening extends into the next layer down, the base."
        )
    elif rigid:
        reasons.append(
            "The foot is rigid and deformed, which asks for one layer more, but there is no layer below the "
            "base: the cut stays in the base."
        )
    return chosen, reasons


def _words(roles: tuple[str, ...]) -> str:
    return " and ".join(f"the {role}" for role in roles)
