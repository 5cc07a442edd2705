"""The openings of a relief plan: floor, bevelled wall layer by layer, merging, notches."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry import LineString, Polygon

from offload.core.errors import Fault, ImpossibleRelief
from offload.core.foam.stack import Layer
from offload.core.plan.policy import DEFAULT_POLICY, Policy
from offload.core.shapes.lesion import LesionSpec
from offload.core.shapes.offset import (
    QUARTER_STEPS,
    bevel_growth,
    dilate,
    erode,
    filled,
    largest_part,
    round_concave,
    sweep,
    swept_margin,
)
from offload.core.shapes.outline import Outline

__all__ = ["CutLayer", "Cutting", "Opening", "Wall", "cut_openings", "least_web"]

MOST_NOTCHES = 4  # directions in which one opening may be opened to the edge
BEYOND_EDGE = 5.0  # [mm] a notch is swept this far past the edge before it is clipped to the insole
MOUTH_REACH = 2.0  # a strip is measured from this many strip widths beside a notch's mouth on


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
    edge_strip : float or None
        Least foam between the opening and the insole's edge, a notch's mouth left out; None if nothing is
        left to measure. [mm]
    asked_off_insole : float
        Area of the opening, as asked, that lay off the insole. [mm²]
    """

    labels: tuple[str, ...]
    layers: tuple[CutLayer, ...]
    open_to_edge: bool = False
    edge_strip: float | None = None
    asked_off_insole: float = 0.0

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


@dataclass(frozen=True)
class Wall:
    """How an opening is shaped: margins [mm], bevel [deg] and the face on which the margin is measured."""

    margin: float
    distal_margin: float
    bevel: float
    margin_face: str = "floor"


@dataclass(frozen=True)
class Cutting:
    """All openings of one plan and what had to be done to them, in sentences."""

    openings: tuple[Opening, ...]
    reasons: tuple[str, ...]


@dataclass(frozen=True)
class _Part:
    """An opening while it is being shaped: ``asked`` lies on the face on which the margin is measured."""

    labels: tuple[str, ...]
    asked: Polygon


def cut_openings(
    lesions: Sequence[LesionSpec],
    insole: Outline,
    stack: Sequence[Layer],
    cut_layers: Sequence[str],
    wall: Wall,
    policy: Policy = DEFAULT_POLICY,
    arc_steps: int = QUARTER_STEPS,
) -> Cutting:
    """Openings for the lesions, layer by layer.

    Parameters
    ----------
    lesions : sequence of LesionSpec
        Wholly on the insole.
    insole : Outline
        [mm]
    stack : sequence of Layer
        From the foot down.
    cut_layers : sequence of str
        Roles to cut; ``middle`` means every middle.
    wall : Wall
        Margins, bevel and margin face.
    policy : Policy
        House rules on webs, edge strips and blade radius.
    arc_steps : int
        Steps of a quarter circle; fewer for cuts that are only compared.

    Returns
    -------
    Cutting

    Raises
    ------
    ImpossibleRelief
        If the margin is measured on the opening and the floor vanishes or falls apart.

    Notes
    -----
    The outline on the margin's face is lesion ⊕ disc(margin) ⊕ segment(0 → (distal − margin)·ŷ). Going up
    through the cut layers every outline grows by t / tan(bevel). Two openings whose web at the upper face is
    under max(least web, cut depth) become the convex hull of both; an opening nearer to the edge than the
    edge strip is swept to the nearest edge.
    """
    layers = [(i, layer) for i, layer in enumerate(stack) if layer.role in cut_layers]
    parts, reasons = [], []
    for lesion in lesions:
        swept = swept_margin(lesion.outline.polygon, wall.margin, wall.distal_margin, arc_steps)
        rounded = round_concave(swept, policy.blade_radius)
        if rounded.area > swept.area * (1.0 + 1e-6):
            reasons.append(
                f"Concave corners around ulcer {lesion.label} are rounded to the blade's radius of "
                f"{policy.blade_radius:g} mm."
            )
        parts.append(_Part((lesion.label,), rounded))
    depth = sum(layer.thickness for _, layer in layers)
    needed = max(policy.least_web, depth)
    growth = bevel_growth(depth, wall.bevel)
    if len(parts) > 1:
        parts = _merge(parts, growth, wall, needed, policy, reasons)
    while True:
        openings: list[Opening] = []
        notes: list[str] = []
        for part in parts:
            faces = _faces(part, [layer for _, layer in layers], wall, policy, arc_steps)
            lesions_over = [lesion.outline.polygon for lesion in lesions if lesion.label in part.labels]
            openings.append(_opening(part, faces, layers, insole.polygon, lesions_over, policy, notes))
        web, i, j = _thinnest([opening.opening.polygon for opening in openings])
        if web >= needed:
            return Cutting(tuple(openings), tuple(reasons + notes))
        # Apart as asked, yet opened to the edge as notches they come too near to one another.
        parts = _joined(parts, i, j, web, needed, [one.label for one in lesions], reasons)
        parts = _merge(parts, growth, wall, needed, policy, reasons)


def _thinnest(tops: Sequence[Polygon]) -> tuple[float, int, int]:
    """Thinnest foam between two outlines [mm] and which they are; infinite with fewer than two."""
    gaps = [(float(tops[i].distance(tops[j])), j, i) for i in range(len(tops)) for j in range(i)]
    return min(gaps, default=(math.inf, 0, 0))


def _joined(
    parts: Sequence[_Part], i: int, j: int, web: float, needed: float, order: list[str], reasons: list[str]
) -> list[_Part]:
    """The parts with two of them as one, in the place of the first."""
    labels = tuple(sorted(parts[i].labels + parts[j].labels, key=order.index))
    how = "their openings would meet" if web == 0.0 else f"the web between them would be {web:.1f} mm"
    reasons.append(
        f"Ulcers {', '.join(labels)} share one opening: at the upper face {how}, under the {needed:g} mm "
        "that are needed."
    )
    merged = _Part(labels, parts[i].asked.union(parts[j].asked).convex_hull)
    return [merged if k == i else part for k, part in enumerate(parts) if k != j]


def least_web(openings: Sequence[Opening]) -> float | None:
    """Thinnest foam between two openings at the upper face; None with fewer than two. [mm]"""
    tops = [opening.opening.polygon for opening in openings]
    gaps = [float(a.distance(b)) for i, a in enumerate(tops) for b in tops[:i]]
    return min(gaps) if gaps else None


def _merge(
    parts: list[_Part], growth: float, wall: Wall, needed: float, policy: Policy, reasons: list[str]
) -> list[_Part]:
    order = [label for part in parts for label in part.labels]

    def upper(part: _Part) -> Polygon:
        if wall.margin_face == "opening":
            return part.asked
        return round_concave(dilate(part.asked, growth), policy.blade_radius)

    while True:
        web, i, j = _thinnest([upper(part) for part in parts])
        if web >= needed:
            return parts
        parts = _joined(parts, i, j, web, needed, order, reasons)


def _faces(part: _Part, layers: Sequence[Layer], wall: Wall, policy: Policy, arc_steps: int) -> list[Polygon]:
    """Outlines on the faces of the cut layers, uppermost first (one more than there are layers)."""
    runs = [bevel_growth(layer.thickness, wall.bevel) for layer in layers]
    if wall.margin_face == "floor":
        grown = [sum(runs[i:]) for i in range(len(runs) + 1)]
        return [round_concave(dilate(part.asked, run, arc_steps), policy.blade_radius) for run in grown]
    faces = [part.asked]
    for i, layer in enumerate(layers):
        run = sum(runs[: i + 1])
        left = erode(part.asked, run)
        if len(left) != 1:
            what = "vanishes" if not left else f"falls into {len(left)} pieces"
            fault = Fault(
                ("margin_mm",),
                wall.margin,
                "one base of the opening: raise margin_mm or bevel_deg, or use margin_face 'floor'",
                f"{wall.margin:g} with bevel_deg {wall.bevel:g}: the base of the opening under ulcer "
                f"{', '.join(part.labels)} {what} "
                f"in the {layer.role} layer, where the wall runs in by {run:.2f} mm",
            )
            raise ImpossibleRelief([fault])
        faces.append(left[0])
    return faces


def _opening(
    part: _Part,
    faces: list[Polygon],
    layers: Sequence[tuple[int, Layer]],
    insole: Polygon,
    lesions: Sequence[Polygon],
    policy: Policy,
    reasons: list[str],
) -> Opening:
    off = float(faces[0].difference(insole).area)
    inside = off <= 1e-6
    first_strip = float(faces[0].distance(insole.exterior)) if inside else 0.0
    strip: float | None = first_strip
    notched = False
    for _ in range(MOST_NOTCHES):
        if strip is None or strip >= policy.edge_strip:
            break
        step = _step_to_edge(faces[0], insole, lesions, policy.edge_strip, notched)
        faces = [largest_part(sweep(face, *step).intersection(insole)) for face in faces]
        notched = True
        walls = _walls_and_edge(faces[0], insole, policy.edge_strip)
        strip = float(walls[0].distance(walls[1])) if walls else None
    if notched:
        found = (
            f"would leave {first_strip:.1f} mm of foam at the edge" if inside else "would run off the insole"
        )
        reasons.append(
            f"The opening under {', '.join(part.labels)} {found}, under the {policy.edge_strip:g} mm that "
            "are "
            "needed: it is opened to the edge as a notch."
        )
    outlines = [Outline.of_polygon(filled(face), "opening") for face in faces]
    return Opening(
        labels=part.labels,
        layers=tuple(
            CutLayer(index, layer.role, outlines[i], outlines[i + 1])
            for i, (index, layer) in enumerate(layers)
        ),
        open_to_edge=notched,
        edge_strip=strip,
        asked_off_insole=0.0 if inside else off,
    )


def _walls_and_edge(top: Polygon, insole: Polygon, strip: float) -> tuple[LineString, LineString] | None:
    """Outline of a notch and edge of the insole, both away from the notch's mouth; None if one is empty."""
    mouth = insole.exterior.intersection(top.buffer(0.01))
    near = mouth.buffer(MOUTH_REACH * strip)
    walls, edge = top.exterior.difference(near), insole.exterior.difference(near)
    return None if walls.is_empty or edge.is_empty else (walls, edge)


def _step_to_edge(
    top: Polygon, insole: Polygon, lesions: Sequence[Polygon], strip: float, notched: bool
) -> tuple[float, float]:
    """Vector that carries the whole opening across the nearest stretch of the insole's edge."""
    walls = _walls_and_edge(top, insole, strip) if notched else None
    if walls is not None:
        line = shapely.shortest_line(*walls)
    elif top.intersects(insole.exterior):
        # The opening crosses the edge: the way out is the shortest one from the lesions under it.
        outermost = min(lesions, key=lambda lesion: float(lesion.distance(insole.exterior)))
        line = shapely.shortest_line(outermost, insole.exterior)
        if line.length == 0.0:
            line = shapely.shortest_line(outermost.representative_point(), insole.exterior)
    else:
        line = shapely.shortest_line(top, insole.exterior)
    (ax, ay), (bx, by) = line.coords[0], line.coords[-1]
    gap = math.hypot(bx - ax, by - ay)
    unit = np.array([(bx - ax) / gap, (by - ay) / gap])
    length = gap + float(np.ptp(np.asarray(top.exterior.coords) @ unit)) + BEYOND_EDGE
    return float(unit[0] * length), float(unit[1] * length)
