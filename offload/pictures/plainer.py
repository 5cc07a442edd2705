"""Lines for a screen: as many corners as an eye can see."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import shapely

from offload.core.shapes.outline import Point
from offload.core.sheets.drawing import Drawing, Item, Path

__all__ = ["SEEN_MM", "plainer_drawing", "plainer_line"]

MANY = 24
"""Corners from which a line is looked at: of fewer there is little to take (design choice)."""
SEEN_MM = 0.02
"""Furthest that a line on a screen lies from the one it stands for [mm]: under a tenth of a pixel."""


def plainer_line(points: Sequence[Point]) -> Sequence[Point]:
    """The line with fewer corners; its ends stay. A short one is left as it is."""
    return _plainer([points])[0]


def _plainer(lines: Sequence[Sequence[Point]]) -> list[Sequence[Point]]:
    """Each line as `plainer_line` has it, all in one go."""
    long = [number for number, points in enumerate(lines) if len(points) >= MANY]
    found = list(lines)
    if long:
        corners = [point for number in long for point in lines[number]]
        of_line = np.repeat(np.arange(len(long)), [len(lines[number]) for number in long])
        plain = shapely.simplify(shapely.linestrings(corners, indices=of_line), SEEN_MM)
        left = shapely.get_coordinates(plain).tolist()
        ends = np.cumsum(shapely.get_num_coordinates(plain)).tolist()
        for number, begin, end in zip(long, [0, *ends], ends, strict=False):
            found[number] = tuple((x, y) for x, y in left[begin:end])
    return found


def plainer_drawing(drawing: Drawing) -> Drawing:
    """A drawing whose lines have fewer corners. Sheets and files keep them all."""
    paths = [item for layer in drawing.layers for item in layer.items if isinstance(item, Path)]
    plain = iter(_plainer([path.points for path in paths]))

    def plainer(item: Item) -> Item:
        if not isinstance(item, Path):
            return item
        points = next(plain)
        # A closed line of fewer than three corners is none.
        return replace(item, points=tuple(points)) if len(points) > 2 else item

    layers = [replace(layer, items=tuple(map(plainer, layer.items))) for layer in drawing.layers]
    return replace(drawing, layers=tuple(layers))
