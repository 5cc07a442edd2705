"""Whose piece it is, written inside every piece that a sheet is cut into, so that no two can be swapped."""

from __future__ import annotations

from collections.abc import Sequence

from shapely import Polygon, box, prepare, unary_union
from shapely.geometry.base import BaseGeometry

from offload.core.plan.compute import ComputedPlan
from offload.core.plan.inlay_checks import piece_of
from offload.core.plan.inlays import PlacedInlay, inlays_in
from offload.core.sheets.drawing import Item, Text, text_width
from offload.core.sheets.plan_drawing import INLAY_BAND, drawn_point, insole_layers
from offload.core.sheets.section import layer_names
from offload.core.sheets.sheet_blocks import SheetLabel

__all__ = ["LEAST_PIECE", "identity_items", "identity_lines", "inlay_lines"]

LEAST_PIECE = 1500.0
"""Pieces from this area on carry their identity; smaller ones hold no legible line; design choice [mm²]. An
inlay of any size carries it where the smallest letters fit.
"""
SIZES = (3.2, 2.8, 2.4, 2.0, 1.7)  # [mm] letters, the largest that fits is taken
LEAD = 1.35
STEP = 3.0  # [mm] between the places that are tried
CLEAR = 0.8  # [mm] between the words and a line that is cut


def identity_lines(plan: ComputedPlan, imprint: SheetLabel, index: int) -> tuple[str, ...]:
    """Say whose piece it is: code and version, side, layer and its place in the order, and the face.

    Parameters
    ----------
    plan : ComputedPlan
    imprint : SheetLabel
        Code, version and the words for the side.
    index : int
        Place of the layer in the stack.
    """
    order = plan.sheet_indices
    return (
        f"{imprint.code} v{imprint.version} {imprint.side_word(plan.spec.side)}",
        f"{layer_names(plan)[index]}, {order.index(index) + 1} of {len(order)}",
        "foot side up",
    )


def inlay_lines(plan: ComputedPlan, imprint: SheetLabel, placed: PlacedInlay) -> tuple[tuple[str, ...], ...]:
    """Say whose inlay it is, in long lines and in short ones for a narrow piece.

    Parameters
    ----------
    plan : ComputedPlan
    imprint : SheetLabel
    placed : PlacedInlay
        The inlay and its layer.
    """
    order = plan.sheet_indices
    own = f" {placed.number}" if len(placed.layer.inlays) > 1 else ""
    name, place = layer_names(plan)[placed.index], f"{order.index(placed.index) + 1} of {len(order)}"
    code, side = f"{imprint.code} v{imprint.version}", imprint.side_word(plan.spec.side)
    return (
        (f"{code} {side}", f"inlay{own} in {name}, {place}", "foot side up"),
        (code, side, f"inlay{own}", f"in {name}", place, "foot", "side up"),
    )


def identity_items(
    plan: ComputedPlan, imprint: SheetLabel, indices: Sequence[int], low: float = -1e6, high: float = 1e6
) -> tuple[Item, ...]:
    """Place the identity of the layers `indices` in each piece, in the drawn frame.

    Parameters
    ----------
    plan : ComputedPlan
    imprint : SheetLabel
    indices : sequence of int
        Layers that lie over one another on the sheet.
    low, high : float
        The part of the foot that the page shows [mm]; a piece across the seam has it on either page.

    Returns
    -------
    tuple of Item
        A piece under `LEAST_PIECE` has none unless its words fit; one that is too narrow for lying words has
        them upright.
    """
    shown = box(-1e6, low, 1e6, high)
    taken: list[BaseGeometry] = [*_words(plan)]
    items: list[Item] = []
    for index in indices:
        lines = identity_lines(plan, imprint, index)
        for piece in _pieces(plan, index):
            part = piece.intersection(shown)
            for one in getattr(part, "geoms", [part]):
                if isinstance(one, Polygon) and one.area >= LEAST_PIECE:
                    placed = _placed(one, lines, [*taken, *_ulcers(plan)]) or _placed(one, lines, taken)
                    if placed is not None:
                        items += placed[0]
                        taken.append(placed[1])
    for inlay in inlays_in(plan.spec.stack):
        if inlay.index not in indices:
            continue
        long, short = inlay_lines(plan, imprint, inlay)
        for left in piece_of(inlay, plan.openings):
            part = _drawn(left, plan.spec.side).intersection(shown)
            for one in getattr(part, "geoms", [part]):
                if isinstance(one, Polygon):
                    inner = one.buffer(-INLAY_BAND)
                    rooms = [inner] if isinstance(inner, Polygon) and not inner.is_empty else []
                    tries = (
                        _placed(room, lines, busy)
                        for busy in ([*taken, *_ulcers(plan)], taken)
                        for room in (*rooms, one)
                        for lines in (long, short)
                    )
                    placed = next((found for found in tries if found is not None), None)
                    if placed is not None:
                        items += placed[0]
                        taken.append(placed[1])
    return tuple(items)


def _pieces(plan: ComputedPlan, index: int) -> list[Polygon]:
    """The rest of one layer, and what is cut out of it, as drawn."""
    side = plan.spec.side
    insole = _drawn(plan.insole.outline.polygon, side)
    cuts = [cut for opening in plan.openings for cut in opening.layers if cut.index == index]
    out = [_drawn(cut.top.polygon, side) for cut in cuts]
    # Words stay inside both lines of a cut: whichever the blade follows, the piece keeps them.
    inner = [_drawn(cut.bottom.polygon, side) for cut in cuts]
    inlays = [
        _drawn(one.inlay.region.polygon, side) for one in inlays_in(plan.spec.stack) if one.index == index
    ]
    rest = insole.difference(unary_union([*out, *inlays])) if out or inlays else insole
    found = [*getattr(rest, "geoms", [rest])]
    found += [low if low.area >= LEAST_PIECE else high for low, high in zip(inner, out, strict=True)]
    return [one for one in found if isinstance(one, Polygon)]


def _drawn(shape: Polygon, side: str) -> Polygon:
    def ring(points: Sequence[tuple[float, ...]]) -> list[tuple[float, float]]:
        return [drawn_point((x, y), side) for x, y in points]

    return Polygon(ring(shape.exterior.coords), [ring(hole.coords) for hole in shape.interiors])


def _ulcers(plan: ComputedPlan) -> list[BaseGeometry]:
    return [_drawn(lesion.outline.polygon, plan.spec.side) for lesion in plan.spec.lesions]


def _words(plan: ComputedPlan) -> list[BaseGeometry]:
    """Room of the words that stand in the insole already."""
    found: list[BaseGeometry] = []
    for layer in insole_layers(plan):
        for item in layer.items:
            if isinstance(item, Text):
                width, (x, y) = text_width(item.text, item.size, bold=item.bold), item.at
                if item.angle:
                    found.append(box(x - item.size, y - width / 2, x + item.size * 0.4, y + width / 2))
                else:
                    found.append(box(x - width / 2, y - item.size * 0.4, x + width / 2, y + item.size))
    return found


def _placed(
    piece: Polygon, lines: Sequence[str], taken: Sequence[BaseGeometry]
) -> tuple[list[Item], BaseGeometry] | None:
    """The words in the largest letters that fit, nearest to the middle of the piece; upright where lying
    ones do not fit.
    """
    free = piece.buffer(-CLEAR).difference(unary_union(list(taken)).buffer(CLEAR)) if taken else piece
    if free.is_empty:
        return None
    prepare(free)
    middle = piece.representative_point()
    left, bottom, right, top = free.bounds
    places = [
        (left + STEP * i, bottom + STEP * j)
        for i in range(int((right - left) / STEP) + 1)
        for j in range(int((top - bottom) / STEP) + 1)
    ]
    places.sort(key=lambda at: (at[0] - middle.x) ** 2 + (at[1] - middle.y) ** 2)
    for size in SIZES:
        width, height = max(text_width(one, size, bold=True) for one in lines), LEAD * size * len(lines)
        for angle, (across, along) in ((0.0, (width, height)), (90.0, (height, width))):
            for x, y in places:
                room = box(x - across / 2, y - along / 2, x + across / 2, y + along / 2)
                if free.contains(room):
                    return _set(lines, size, angle, (x, y), height), room
    return None


def _set(
    lines: Sequence[str], size: float, angle: float, at: tuple[float, float], height: float
) -> list[Item]:
    items: list[Item] = []
    for number, words in enumerate(lines):
        down = height / 2 - LEAD * size * (number + 0.8)
        place = (at[0], at[1] + down) if not angle else (at[0] - down, at[1])
        items.append(Text(place, words, size, "middle", bold=number == 0, angle=angle))
    return items
