"""Lines for a screen: as many corners as an eye can see."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import shapely

from offload.core.shapes.outline import Point
from offload.core.sheets.drawing import Drawing, Path

__all__ = ["SEEN_MM", "plainer_drawing", "plainer_line"]

MANY = 24
"""Corners from which a line is looked at: of fewer there is little to take (design choice)."""
SEEN_MM = 0.02
"""Furthest that a line on a screen lies from the one it stands for [mm]: under a tenth of a pixel."""


def plainer_line(points: Sequence[Point]) -> Sequence[Point]:
    """The line with fewer corners; its ends stay. A short one is left as it is."""
    if len(points) < MANY:
        return points
    return tuple((float(x), float(y)) for x, y in shapely.LineString(points).simplify(SEEN_MM).coords)


def plainer_drawing(drawing: Drawing) -> Drawing:
    """A drawing whose lines have fewer corners. Sheets and files keep them all."""
    layers = []
    for layer in drawing.layers:
        items = [
            replace(item, points=tuple(found))
            if isinstance(item, Path) and len(found := plainer_line(item.points)) > 2
            else item
            for item in layer.items
        ]
        layers.append(replace(layer, items=tuple(items)))
    return replace(drawing, layers=tuple(layers))
