"""The layers of a plan as they are chosen on the bench: foam and thickness of each, and inlays."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Protocol

from clinic.record.errors import Refused
from offload.core.foam.law import FoamError, remaining_thickness
from offload.core.foam.stack import Inlay, Layer
from offload.core.plan.compute import compute
from offload.core.plan.inlays import ring_about
from offload.core.plan.policy import Policy
from offload.core.plan.spec import ReliefSpec
from offload.core.shapes.insole import insole_for
from offload.core.shapes.outline import Outline

__all__ = [
    "InlayChoice",
    "LayerChoice",
    "chosen_stack",
    "layer_names_of",
    "stack_departures",
    "stack_now",
    "wear_reasons",
    "with_inlays",
    "worn_roles",
]

House = Sequence[Mapping[str, Any]]
"""A clinic's layers as its house rules hold them, from the foot down."""


@dataclass(frozen=True)
class LayerChoice:
    """Foam and thickness of one layer before wear [mm]."""

    foam: str
    thickness_mm: float


@dataclass(frozen=True)
class InlayChoice:
    """One inlay: place of its layer in the stack, its foam, and either its region or the letter of the ulcer
    it goes round and how far [mm].
    """

    layer: int
    foam: str
    region: Outline | None = None
    around: str = ""
    reach_mm: float = 0.0


class Layers(Protocol):
    """What a cut says of its layers."""

    @property
    def layers(self) -> Sequence[LayerChoice]: ...

    @property
    def inlays(self) -> Sequence[InlayChoice]: ...

    def lost(self, role: str) -> float: ...


def layer_names_of(house: House) -> list[str]:
    """Names of the layers from the foot down, numbered where a role occurs twice."""
    roles = [layer["role"] for layer in house]
    return [
        f"{role} {roles[: n + 1].count(role)}" if roles.count(role) > 1 else role
        for n, role in enumerate(roles)
    ]


def _choices(house: House, layers: Sequence[LayerChoice]) -> list[LayerChoice]:
    """What is chosen of each layer; what is not chosen is the house's."""
    own = [LayerChoice(layer["foam"], float(layer["thickness_mm"])) for layer in house]
    return [*layers[: len(own)], *own[len(layers) :]]


def chosen_stack(house: House, choice: Layers) -> tuple[Layer, ...]:
    """The layers as chosen, with the thickness that wear has left of them."""
    found = []
    for layer, one in zip(house, _choices(house, choice.layers), strict=True):
        lost = choice.lost(layer["role"])
        try:
            left = remaining_thickness(one.thickness_mm, lost)
        except FoamError as fault:
            raise Refused(f"Worn {layer['role']}: {fault}", field=f"lost_{layer['role']}_mm") from fault
        found.append(Layer(layer["role"], one.foam, round(left, 2) if lost else left))
    return tuple(found)


def wear_reasons(house: House, choice: Layers) -> list[str]:
    """What wear has taken from each layer, in sentences."""
    return [
        f"The {layer['role']} has lost {choice.lost(layer['role']):g} of its "
        f"{one.thickness_mm:g} mm with wear."
        for layer, one in zip(house, _choices(house, choice.layers), strict=True)
        if choice.lost(layer["role"])
    ]


def worn_roles(reasons: Sequence[str]) -> set[str]:
    """Roles of the layers that a kept plan took for worn."""
    return {words.split()[1] for words in reasons if words.startswith("The ") and " has lost " in words}


def stack_departures(house: House, choice: Layers) -> list[str]:
    """Where the chosen layers are not the house's, in sentences."""
    return [
        f"The {name} is {one.thickness_mm:g} mm of {one.foam}; the house stack has "
        f"{float(layer['thickness_mm']):g} mm of {layer['foam']}."
        for name, layer, one in zip(layer_names_of(house), house, _choices(house, choice.layers), strict=True)
        if (one.foam, one.thickness_mm) != (layer["foam"], float(layer["thickness_mm"]))
    ]


def stack_now(house: House, spec: Mapping[str, Any], departures: Sequence[str]) -> list[str]:
    """Where a kept plan's layers leave the house stack of today without a departure on record; a layer may
    be thinner by wear.
    """
    kept = spec.get("stack") or ()
    if [layer["role"] for layer in kept] != [layer["role"] for layer in house]:
        return ["The house stack has other layers now than this plan."] if kept else []
    found = []
    for name, layer, now in zip(layer_names_of(house), kept, house, strict=True):
        recorded = any(words.startswith(f"The {name} is ") for words in departures)
        other = layer["foam"] != now["foam"] or layer["thickness_mm"] > float(now["thickness_mm"])
        if other and not recorded:
            found.append(
                f"The house stack now has {float(now['thickness_mm']):g} mm of {now['foam']} as {name}; "
                f"this plan was drawn with {layer['thickness_mm']:g} mm of {layer['foam']}."
            )
    return found


def with_inlays(spec: ReliefSpec, inlays: Sequence[InlayChoice], policy: Policy) -> ReliefSpec:
    """The specification with its inlays laid into its layers; a ring goes round the opening its layer has."""
    if not inlays:
        return spec
    rings = [one for one in inlays if one.around]
    openings = compute(spec, policy=policy).openings if rings else ()
    insole = insole_for(spec.foot_length, spec.foot_width, spec.insole_outline).outline
    stack = list(spec.stack)
    for one in inlays:
        region = one.region
        if one.around:
            lesion = next((each for each in spec.lesions if each.label == one.around), None)
            if lesion is None:
                raise Refused(f"Inlay round ulcer {one.around}: that ulcer is not in this plan.")
            region = ring_about(lesion, openings, one.layer, one.reach_mm, insole)
        if region is None or not 0 <= one.layer < len(stack):
            raise Refused(
                f"Inlay in layer {one.layer}: it needs a region, and a layer from 0 to {len(stack) - 1}."
            )
        layer = stack[one.layer]
        stack[one.layer] = replace(layer, inlays=(*layer.inlays, Inlay(one.foam, region)))
    return replace(spec, stack=tuple(stack))
