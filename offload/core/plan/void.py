"""The void under the cover: what an opening takes out of each cell's column of foam."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import NDArray

from offload.core.foam.field import FoamField, LayerFoam, chosen
from offload.core.foam.law import Foam, FoamError, Series
from offload.core.foam.stack import Layer
from offload.core.plan.openings import Opening
from offload.core.pressure.baseline import load_constants
from offload.core.pressure.foundation import Foundation
from offload.core.pressure.lattice import Lattice
from offload.core.pressure.plate import Plate, reach_of
from offload.core.shapes.outline import Outline

__all__ = [
    "Footprint",
    "Void",
    "coverage",
    "foams_of",
    "footprint_of",
    "local_foams",
    "signed_distance",
    "void_of",
]

Array = NDArray[np.float64]

FAR_MM = 1e3
REACH_MM = 11.0
TISSUE: float = load_constants()["tissue"]["stiffness"]["value"]
HARD_SHARE = 0.1
"""What lies under a base that is cut gives by this share of the base's own first compression [-]; design
choice.
"""


@dataclass(frozen=True, slots=True)
class Footprint:
    """Openings seen from above: mean depth taken out of each cell [mm], share of the cell within an opening
    at its foot-facing side, the distance of the cell's centre from that outline [mm], negative inside, and
    where the middle of the cell's part within lies from its centre along x and along y [mm], shape ``(2, ny,
    nx)``."""

    depth_mm: Array
    share: Array
    outside_mm: Array
    middle_mm: Array


@dataclass(frozen=True, slots=True)
class Void:
    """Openings in the foam.

    Attributes
    ----------
    depth_mm
        Mean depth taken out of each cell [mm], shape ``(ny, nx)``: the gap the foam above must close.
    outside_mm
        Distance of each cell's centre from the nearest opening at its foot-facing side [mm]; negative inside.
        Exact up to 11 mm, larger beyond.
    left_mm
        Thickness left of each layer [mm], shape ``(layers, ny, nx)``.
    foundation
        The cut foam.
    """

    depth_mm: Array
    outside_mm: Array
    left_mm: Array
    foundation: Foundation

    def under(self, before_kpa: Array) -> Void:
        """The same openings under another pressure on the uncut foam [kPa], shape ``(ny, nx)``."""
        return replace(self, foundation=self.foundation.under(before_kpa))

    @property
    def volume(self) -> float:
        """Foam taken out of the insole [mm³]."""
        lattice = self.foundation.lattice
        return float(self.depth_mm.sum(where=lattice.support) * lattice.area)


def foams_of(stack: Sequence[Layer], foams: Mapping[str, Foam]) -> tuple[Foam, ...]:
    """The foam of each layer.

    Raises
    ------
    FoamError
        When a layer names a foam that is not known.
    """
    for layer in stack:
        for what, foam in (
            (layer.role, layer.foam),
            *((f"inlay in the {layer.role}", one.foam) for one in layer.inlays),
        ):
            if foam not in foams:
                raise FoamError(
                    f"foam of the {what} is {foam!r}; it must be one of {', '.join(sorted(foams))}."
                )
    return tuple(foams[layer.foam] for layer in stack)


def local_foams(stack: Sequence[Layer], foams: Mapping[str, Foam], lattice: Lattice) -> tuple[LayerFoam, ...]:
    """The foam of each layer, cell by cell where a layer has inlays; of two that overlap the first counts."""
    found: list[LayerFoam] = []
    for layer, own in zip(stack, foams_of(stack, foams), strict=True):
        if not layer.inlays:
            found.append(own)
            continue
        shares = [np.zeros(lattice.support.shape)]
        for inlay in layer.inlays:
            shares.append(np.minimum(covered(inlay.region, lattice), 1.0 - sum(shares[1:], shares[0])))
        shares[0] = 1.0 - sum(shares[1:], shares[0])
        found.append(FoamField((own, *(foams[one.foam] for one in layer.inlays)), np.stack(shares)))
    return tuple(found)


def footprint_of(
    openings: Sequence[Opening], bevel_deg: float, depth_mm: float, lattice: Lattice
) -> Footprint:
    """Lay openings of one depth on the cells.

    Parameters
    ----------
    openings
        All of the same depth; none for the uncut insole.
    bevel_deg
        Angle of the wall to the surface.
    depth_mm
        Thickness of the cut layers together [mm].
    lattice
        The cells.

    Notes
    -----
    A straight wall at angle ``a`` leaves ``min(T, d tan a)`` of the cut depth ``T`` at the distance ``d``
    from the floor's outline. Along the line across the wall the mean over a cell is exact; the outline is
    taken as straight within one cell.
    """
    shape = lattice.support.shape
    depth, share, outside = np.zeros(shape), np.zeros(shape), np.full(shape, FAR_MM)
    moment = np.zeros((2, *shape))
    growth = 0.0 if bevel_deg >= 90.0 else depth_mm / math.tan(math.radians(bevel_deg))
    for opening in openings:
        window = _window(lattice, opening.opening, REACH_MM)
        # The wall of a notch ends at the insole's edge, so distance counts from the floor and the top alike.
        from_top = signed_distance(opening.opening, lattice, window)
        from_floor = np.full(from_top.shape, FAR_MM)
        walled = from_top < lattice.dx
        x, y = np.meshgrid(lattice.x[window[1]], lattice.y[window[0]])
        from_floor[walled] = _distance(opening.floor, lattice.dx, x[walled], y[walled])
        inside, first = _within(opening.opening, from_top, x, y, lattice)
        mean = np.minimum(_mean_depth(from_floor, depth_mm, growth, lattice.dx), depth_mm * inside)
        depth[window] = np.maximum(depth[window], mean)
        share[window] += inside
        moment[(slice(None), *window)] += first
        outside[window] = np.minimum(outside[window], from_top)
    middle = np.divide(moment, share, out=np.zeros_like(moment), where=share > 0)
    return Footprint(depth, np.minimum(share, 1.0), outside, middle)


def _within(outline: Outline, distance: Array, x: Array, y: Array, lattice: Lattice) -> tuple[Array, Array]:
    """Share of each cell within an outline, and that share times where its middle lies from the cell's
    centre [mm].
    """
    share, first = (distance < 0).astype(float), np.zeros((2, *distance.shape))
    by_it = np.abs(distance) < 0.75 * max(lattice.dx, lattice.dy)  # half a diagonal and a little more
    polygon = shapely.simplify(outline.polygon, 0.02 * lattice.dx)
    shapely.prepare(polygon)
    across, along = x[by_it], y[by_it]
    boxes = shapely.box(
        across - lattice.dx / 2, along - lattice.dy / 2, across + lattice.dx / 2, along + lattice.dy / 2
    )
    parts = shapely.intersection(polygon, boxes)
    covered = shapely.area(parts) / lattice.area
    middle = shapely.get_coordinates(shapely.centroid(parts[covered > 0]))
    share[by_it] = covered
    moment = np.zeros((2, across.size))
    moment[:, covered > 0] = (middle - np.stack([across, along], axis=1)[covered > 0]).T * covered[
        covered > 0
    ]
    first[:, by_it] = moment
    return share, first


def void_of(
    footprint: Footprint,
    cut: Sequence[int],
    stack: Sequence[Layer],
    foams: Sequence[Foam],
    lattice: Lattice,
    before_kpa: Array | None = None,
    tissue_kpa_mm: float = TISSUE,
    local: Sequence[LayerFoam] | None = None,
) -> Void:
    """Take a footprint out of the cut layers.

    Parameters
    ----------
    footprint
        Where and how deep.
    cut
        Places of the cut layers in the stack, from the foot down.
    stack, foams
        Layers from the foot down and the foam of each.
    lattice
        The cells.
    before_kpa
        Pressure on the uncut foam [kPa], shape ``(ny, nx)``; None when unloaded.
    tissue_kpa_mm
        Central stiffness of the plantar tissue [kPa/mm].
    local
        Foam of each layer cell by cell, where inlays are let in; without them `foams` everywhere. What lies
        before the cut is the stack without them.

    Notes
    -----
    What is left of the cut layers is their lower part. Over the void and near it the layers above are one
    plate; the layers below drag at it beside the void only. Where all below is cut out, hard ground stays at
    the void's depth.
    """
    shape = lattice.support.shape
    one = np.array([layer.thickness for layer in stack])[:, None, None]
    whole = np.broadcast_to(one, (len(stack), *shape))
    coupling = np.zeros(shape)  # whole foam couples over less than a cell; near the void the plate does
    local = foams if local is None else local
    columns = Series(one, local)
    share = footprint.share
    over = lattice.support & (share > 0)
    window = over
    if cut:
        window = lattice.support & (footprint.outside_mm <= reach_of(stack, foams, cut[0])) | over
    if not window.any():
        # Nothing is cut, or so little by the edge that no cell of this size holds any of it.
        nothing = np.zeros(shape)
        return Void(nothing, footprint.outside_mm, whole, Foundation(lattice, columns, nothing, coupling))
    first = cut[0]
    inside = np.zeros(shape)
    inside[over] = footprint.depth_mm[over] / share[over]
    left = _left(np.broadcast_to(one[:, 0], (len(stack), int(over.sum()))), cut, inside[over])[first:]
    below = Series(np.maximum(left, 1e-9), chosen(local[first:], over))
    if len(stack) - 1 in cut:
        ground = HARD_SHARE * stack[-1].thickness / foams[-1].modulus_kpa
        below = Series.joined([(below, np.ones(below.shape, dtype=bool))], ground)
    plate = Plate(
        layers=tuple(stack[:first]),
        foams=tuple(local[:first]),
        above=Series(one[:first], local[:first]),
        beside=Series(one[first:], local[first:]),
        below=below,
        share=np.where(over, share, 0.0),
        depth_mm=inside,
        middle_mm=footprint.middle_mm,
        bonded=_bonded(footprint.outside_mm, lattice),
        window=window,
        tissue_kpa_mm=tissue_kpa_mm,
        below_layers=tuple(stack[first:]),
        below_foams=tuple(local[first:]),
        squeezed_kpa=0.0 if before_kpa is None else before_kpa,
        uncut=Series(one[first:], foams[first:]),
    )
    return Void(
        footprint.depth_mm,
        footprint.outside_mm,
        _left(whole, cut, footprint.depth_mm),
        Foundation(lattice, columns, footprint.depth_mm, coupling, plate, before_kpa),
    )


def _bonded(outside_mm: Array, lattice: Lattice) -> Array:
    """Share of the way from each cell's centre to the next along x and along y that is not over the void [-].

    Notes
    -----
    The layers below drag with ``1/2 integral(drag (dv/dn)^2 dA)``, where the plate above has one slope
    ``dv/dn`` from centre to centre. So of the square between two centres counts what lies outside the
    opening, half of it by a wall midway; two half cells in series would gather the slope over the void and
    let the whole cell by the wall drag at nothing. The outline is taken as straight within the square.
    """
    share = np.ones((2, *outside_mm.shape))
    share[0, :, :-1] = 0.5 + (outside_mm[:, :-1] + outside_mm[:, 1:]) / (2.0 * lattice.dx)
    share[1, :-1] = 0.5 + (outside_mm[:-1] + outside_mm[1:]) / (2.0 * lattice.dy)
    return np.clip(share, 0.0, 1.0)


def _left(whole: Array, cut: Sequence[int], depth_mm: Array) -> Array:
    """Thickness left of each layer when a depth is taken out of the cut ones from above [mm]."""
    left, rest = whole.copy(), depth_mm.copy()
    for index in cut:
        taken = np.minimum(rest, left[index])
        left[index] -= taken
        rest -= taken
    return left


def signed_distance(outline: Outline, lattice: Lattice, window: tuple[slice, slice]) -> Array:
    """Distance of the cell centres in a window from an outline [mm], negative inside."""
    x, y = np.meshgrid(lattice.x[window[1]], lattice.y[window[0]])
    return _distance(outline, lattice.dx, x, y)


def _distance(outline: Outline, size: float, x: Array, y: Array) -> Array:
    # A fiftieth of a cell is far below what a cell can show, and a tenth of the corners is far quicker.
    polygon = shapely.simplify(outline.polygon, 0.02 * size, preserve_topology=False)
    shapely.prepare(polygon)
    distance = shapely.distance(shapely.boundary(polygon), shapely.points(x, y))
    return np.where(shapely.contains_xy(polygon, x, y), -distance, distance)


def covered(outline: Outline, lattice: Lattice) -> Array:
    """Share of each cell that an outline covers, exact within one cell."""
    share = np.zeros(lattice.support.shape)
    window = _window(lattice, outline, 2.0 * max(lattice.dx, lattice.dy))
    x, y = np.meshgrid(lattice.x[window[1]], lattice.y[window[0]])
    share[window] = _within(outline, signed_distance(outline, lattice, window), x, y, lattice)[0]
    return share


def coverage(outline: Outline, lattice: Lattice) -> Array:
    """Share of each cell that an outline covers, straight within one cell; never nothing for a small
    outline.
    """
    share = np.zeros(lattice.support.shape)
    window = _window(lattice, outline, 2.0 * lattice.dx)
    distance = signed_distance(outline, lattice, window)
    share[window] = np.clip(0.5 - distance / lattice.dx, 0.0, 1.0)
    if not share.any():
        x, y = outline.centroid
        share[int(np.argmin(np.abs(lattice.y - y))), int(np.argmin(np.abs(lattice.x - x)))] = 1.0
    return share


def _window(lattice: Lattice, outline: Outline, around: float) -> tuple[slice, slice]:
    x0, y0, x1, y1 = outline.bounds
    rows = np.searchsorted(lattice.y, [y0 - around, y1 + around])
    columns = np.searchsorted(lattice.x, [x0 - around, x1 + around])
    return slice(int(rows[0]), int(rows[1])), slice(int(columns[0]), int(columns[1]))


def _mean_depth(distance: Array, total: float, growth: float, size: float) -> Array:
    """Mean over ``distance +- size/2`` of a depth that is whole inside and falls to nothing over the wall."""

    def summed(d: Array) -> Array:
        inside = total * np.minimum(d, 0.0)
        if growth <= 0.0:
            return inside
        wall = np.clip(d, 0.0, growth)
        return inside + total * (wall - wall * wall / (2.0 * growth))

    return (summed(distance + size / 2) - summed(distance - size / 2)) / size
