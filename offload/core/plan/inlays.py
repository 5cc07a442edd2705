"""Pieces of other foam let into a layer: read, written, laid round an ulcer, and what each gains."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import shapely

from offload.core.errors import Fault, SpecError
from offload.core.foam.stack import MOST_INLAYS, Inlay, Layer
from offload.core.plan.bounds import PLACE
from offload.core.plan.fields import Fields
from offload.core.plan.openings import Opening
from offload.core.plan.policy import INLAY_WALL
from offload.core.shapes.lesion import LesionSpec
from offload.core.shapes.outline import Outline

__all__ = [
    "InlayGain",
    "PlacedInlay",
    "gains_from_json",
    "gains_json",
    "inlays_in",
    "layer_json",
    "read_inlays",
    "ring_about",
    "without",
]

MOST_POINTS = 500
PLAIN_MM = 0.05  # [mm] a ring laid round an opening is drawn no finer
FIGURES = (
    ("without", "patch_mean_without_kpa"),
    ("with_it", "patch_mean_with_kpa"),
    ("elsewhere_without", "elsewhere_peak_without_kpa"),
    ("elsewhere_with", "elsewhere_peak_with_kpa"),
)


@dataclass(frozen=True)
class PlacedInlay:
    """An inlay and where it is: place of its layer in the stack, the layer, and its number in it, from 1."""

    index: int
    layer: Layer
    number: int
    inlay: Inlay

    @property
    def words(self) -> str:
        """Which inlay it is, in words."""
        which = f" {self.number}" if len(self.layer.inlays) > 1 else ""
        return f"inlay{which} in the {self.layer.role} ({self.inlay.foam})"


@dataclass(frozen=True)
class InlayGain:
    """What one inlay does at one lesion, the cut being the same [kPa].

    Parameters
    ----------
    index, number : int
        Place of its layer in the stack, and its number in the layer, from 1.
    role, foam, label : str
        Of the layer, the inlay and the lesion.
    without, with_it : float
        Highest mean over a sensor-sized patch at the lesion without and with it.
    fall : (float, float)
        By how much it is lower with the inlay, lowest and highest over the stiffness of tissue; below 0 where
        it is higher.
    fall_80 : (float, float) or None
        Middle 80 % of the same in joint draws of the inputs; None where they were not made.
    elsewhere_without, elsewhere_with : float
        Peak outside the opening in the first lesion's load case.
    """

    index: int
    number: int
    role: str
    foam: str
    label: str
    without: float
    with_it: float
    fall: tuple[float, float]
    fall_80: tuple[float, float] | None
    elsewhere_without: float
    elsewhere_with: float


def inlays_in(stack: Sequence[Layer]) -> Iterator[PlacedInlay]:
    """Every inlay of a stack, from the foot down."""
    for index, layer in enumerate(stack):
        for number, inlay in enumerate(layer.inlays, start=1):
            yield PlacedInlay(index, layer, number, inlay)


def without(stack: Sequence[Layer], placed: PlacedInlay) -> tuple[Layer, ...]:
    """The stack without one of its inlays."""
    left = tuple(one for n, one in enumerate(placed.layer.inlays, start=1) if n != placed.number)
    return tuple(
        replace(layer, inlays=left) if index == placed.index else layer for index, layer in enumerate(stack)
    )


def read_inlays(fields: Fields, foams: Sequence[str]) -> tuple[Inlay, ...]:
    """The inlays of one layer; every fault goes onto the fields."""
    found = []
    for i, entry in enumerate(fields.items("inlays", 0, MOST_INLAYS, "inlays", None) or ()):
        one = Fields(entry, fields.at("inlays", i), ("foam", "region_mm"), fields.faults)
        foam = one.choice("foam", tuple(foams))
        region = one.outline("region_mm", MOST_POINTS, PLACE)
        if foam is not None and region is not None:
            found.append(Inlay(foam, region))
    return tuple(found)


def layer_json(layer: Layer) -> dict[str, Any]:
    """A layer as a specification holds it; inlays only where there are some."""
    thickness = layer.thickness
    content: dict[str, Any] = {
        "role": layer.role,
        "foam": layer.foam,
        # A whole thickness as a whole number, as house rules hold it.
        "thickness_mm": int(thickness) if thickness == int(thickness) else thickness,
    }
    if layer.inlays:
        content["inlays"] = [
            {"foam": one.foam, "region_mm": [list(point) for point in one.region.exterior]}
            for one in layer.inlays
        ]
    return content


def ring_about(
    lesion: LesionSpec, openings: Sequence[Opening], index: int, reach: float, insole: Outline
) -> Outline:
    """The region of an inlay that goes round an ulcer.

    Parameters
    ----------
    lesion : LesionSpec
    openings : sequence of Opening
        Of the plan.
    index : int
        Place of the inlay's layer in the stack.
    reach : float
        How far it reaches beyond the opening where the layer is cut under the ulcer, else beyond the ulcer.
        [mm]
    insole : Outline
        Where the ring would come nearer to its edge, a wall of `INLAY_WALL` is left.

    Raises
    ------
    SpecError
        If nothing of it is left.

    Examples
    --------
    >>> from offload.core.plan.inlays import ring_about
    >>> from offload.core.shapes.lesion import LesionSpec
    >>> from offload.core.shapes.outline import Outline
    >>> insole = Outline(((-50.0, 0.0), (50.0, 0.0), (50.0, 250.0), (-50.0, 250.0)))
    >>> ulcer = LesionSpec("A", Outline.ellipse((0.0, 150.0), 10.0, 10.0))
    >>> ring = ring_about(ulcer, (), 2, 10.0, insole)  # a base that is not cut
    >>> [round(value) for value in ring.bounds]
    [-15, 135, 15, 165]
    """
    cut = [
        layer.top.polygon
        for opening in openings
        if lesion.label in opening.labels
        for layer in opening.layers
        if layer.index == index
    ]
    inner = shapely.union_all(cut) if cut else lesion.outline.polygon
    region = inner.buffer(reach, quad_segs=16).intersection(insole.polygon.buffer(-INLAY_WALL))
    parts = [part for part in getattr(region, "geoms", [region]) if part.area > 0.0]
    if not parts:
        path = ("stack", index, "inlays", "region_mm")
        limit = f"{INLAY_WALL:g} mm of wall to the insole's edge"
        raise SpecError([Fault(path, reach, limit, f"reaching {reach:g} mm leaves nothing within")])
    largest = max(parts, key=lambda part: part.area)
    plain = shapely.simplify(shapely.Polygon(largest.exterior), PLAIN_MM)
    ring = tuple((round(x, 2), round(y, 2)) for x, y in plain.exterior.coords[:-1])
    return Outline(ring, name="The ring about the ulcer")


def gains_json(gains: Sequence[InlayGain], stack: Sequence[Layer]) -> dict[str, Any]:
    """What inlays gain, under the key of the contract; nothing for a stack without any."""
    if not any(layer.inlays for layer in stack):
        return {}
    return {
        "inlay_gains": [
            {
                "layer": one.index,
                "inlay": one.number,
                "role": one.role,
                "foam": one.foam,
                "label": one.label,
                **{key: round(getattr(one, name), 6) for name, key in FIGURES},
                "fall_range_kpa": [round(value, 6) for value in one.fall],
                "fall_80_kpa": None if one.fall_80 is None else [round(value, 6) for value in one.fall_80],
            }
            for one in gains
        ]
    }


def gains_from_json(result: Mapping[str, Any]) -> tuple[InlayGain, ...]:
    """What inlays gain, as a plan kept it."""
    return tuple(
        InlayGain(
            index=one["layer"],
            number=one["inlay"],
            role=one["role"],
            foam=one["foam"],
            label=one["label"],
            fall=(one["fall_range_kpa"][0], one["fall_range_kpa"][1]),
            fall_80=None if one["fall_80_kpa"] is None else (one["fall_80_kpa"][0], one["fall_80_kpa"][1]),
            **{name: one[key] for name, key in FIGURES},
        )
        for one in result.get("inlay_gains", ())
    )
