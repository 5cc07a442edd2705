"""A neutral drawing in mm, y up: what the writers turn into PDF, SVG and DXF.

A drawing is a stack of named layers; a layer holds paths, texts and scale bars. It knows no file format, no
plan and no clock, and every value is a frozen dataclass, so equal plans give equal bytes.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Literal

from shapely import LineString, Polygon, box
from shapely.geometry.base import BaseGeometry

from offload.core.errors import ReliefError

__all__ = [
    "DASHED",
    "DOTTED",
    "HATCH_TILES",
    "SOLID",
    "Box",
    "Drawing",
    "Hatch",
    "HatchTile",
    "Item",
    "DrawingLayer",
    "Path",
    "Pen",
    "Point",
    "ScaleBar",
    "Text",
    "circle",
    "clipped",
    "line",
    "rectangle",
    "text_width",
    "wrap",
]

Point = tuple[float, float]
Anchor = Literal["start", "middle", "end"]


class Hatch(StrEnum):
    """Named fillings. A foam layer is known by its hatch and its role word, never by a colour."""

    COVER = "dotted"
    MIDDLE = "diagonal"
    BASE = "cross-hatch"
    TISSUE = "stipple"
    INLAY = "upright"


@dataclass(frozen=True, slots=True)
class HatchTile:
    """One repeating tile of a hatch [mm]: straight strokes and dots; both writers draw exactly this."""

    size: float
    lines: tuple[tuple[float, float, float, float], ...] = ()
    dots: tuple[tuple[float, float, float], ...] = ()
    width: float = 0.15


HATCH_TILES: dict[Hatch, HatchTile] = {
    Hatch.COVER: HatchTile(1.6, dots=((0.4, 0.4, 0.16), (1.2, 1.2, 0.16))),
    Hatch.MIDDLE: HatchTile(2.0, lines=((0, 0, 2, 2),)),
    Hatch.BASE: HatchTile(2.0, lines=((0, 0, 2, 2), (0, 2, 2, 0))),
    # Short and staggered: along an upright edge no stroke may be taken for a line to cut.
    Hatch.INLAY: HatchTile(1.6, lines=((0.4, 0, 0.4, 0.8), (1.2, 0.8, 1.2, 1.6))),
    Hatch.TISSUE: HatchTile(
        3.0,
        dots=(
            (0.5, 0.6, 0.1),
            (1.7, 0.3, 0.1),
            (2.6, 1.4, 0.1),
            (1.2, 1.7, 0.1),
            (0.3, 2.5, 0.1),
            (2.2, 2.6, 0.1),
        ),
    ),
}


@dataclass(frozen=True, slots=True)
class Pen:
    """A stroke: width [mm], dash lengths [mm] (empty = solid) and shade (0 = full ink, 1 = none)."""

    width: float = 0.25
    dash: tuple[float, ...] = ()
    shade: float = 0.0


SOLID = Pen()
DASHED = Pen(0.25, (2.0, 1.0))
DOTTED = Pen(0.25, (0.5, 0.9))


@dataclass(frozen=True, slots=True)
class Box:
    """An axis-parallel rectangle [mm]."""

    left: float
    bottom: float
    right: float
    top: float

    @property
    def width(self) -> float:
        return self.right - self.left

    @property
    def height(self) -> float:
        return self.top - self.bottom

    def grown(self, by: float) -> Box:
        """Return the box with every side moved outward by `by` [mm]."""
        return Box(self.left - by, self.bottom - by, self.right + by, self.top + by)

    def overlaps(self, other: Box) -> bool:
        """Say whether the interiors of two boxes meet."""
        return (
            self.left < other.right
            and other.left < self.right
            and self.bottom < other.top
            and other.bottom < self.top
        )


@dataclass(frozen=True, slots=True)
class Path:
    """A polyline, or a polygon when `closed` (the first point is then not repeated at the end)."""

    points: tuple[Point, ...]
    closed: bool = False
    pen: Pen | None = SOLID
    hatch: Hatch | None = None

    def __post_init__(self) -> None:
        least = 3 if self.closed else 2
        if len(self.points) < least:
            raise ReliefError(f"path: {len(self.points)} points given, at least {least} needed")
        if not all(math.isfinite(v) for point in self.points for v in point):
            raise ReliefError("path: every coordinate must be a finite number of mm")
        if self.closed and self.points[0] == self.points[-1]:
            raise ReliefError("path: a closed path does not repeat its first point")
        if self.hatch is not None and not self.closed:
            raise ReliefError("path: only a closed path can be hatched")

    @property
    def bounds(self) -> Box:
        xs, ys = [p[0] for p in self.points], [p[1] for p in self.points]
        return Box(min(xs), min(ys), max(xs), max(ys))


@dataclass(frozen=True, slots=True)
class Text:
    """One line of text; `at` is on the base line, `size` is the font size [mm], `angle` turns it [deg]."""

    at: Point
    text: str
    size: float = 3.0
    anchor: Anchor = "start"
    bold: bool = False
    angle: float = 0.0
    shade: float = 0.0


@dataclass(frozen=True, slots=True)
class ScaleBar:
    """A check bar of exactly `length` mm from `at`, to the right or upward, with end ticks, 10 mm ticks
    and a label.
    """

    at: Point
    length: float = 100.0
    vertical: bool = False
    label: str = ""

    def parts(self) -> tuple[Path | Text, ...]:
        """Return the bar as plain paths and a text."""
        x, y = self.at

        def place(along: float, across: float) -> Point:
            return (x - across, y + along) if self.vertical else (x + along, y + across)

        # Strokes are set in by half their width: the ink itself is `length` long, outer edge to outer edge.
        items: list[Path | Text] = [
            Path((place(0.15, 0), place(self.length - 0.15, 0)), pen=Pen(0.3)),
            Path((place(0.1, -1.5), place(0.1, 1.5)), pen=Pen(0.2)),
            Path((place(self.length - 0.1, -1.5), place(self.length - 0.1, 1.5)), pen=Pen(0.2)),
        ]
        steps = math.ceil(self.length / 10 - 1e-9)
        items += [Path((place(10 * i, 0), place(10 * i, 1)), pen=Pen(0.15)) for i in range(1, steps)]
        if self.label:
            angle = 90.0 if self.vertical else 0.0
            items.append(Text(place(self.length / 2, 2.0), self.label, 2.6, "middle", angle=angle))
        return tuple(items)


Item = Path | Text | ScaleBar


@dataclass(frozen=True, slots=True)
class DrawingLayer:
    """Items under one name; the name becomes the DXF layer and the class of the SVG group."""

    name: str
    items: tuple[Item, ...]

    def primitives(self) -> Iterator[Path | Text]:
        """Yield the layer's paths and texts, scale bars taken apart."""
        for item in self.items:
            if isinstance(item, ScaleBar):
                yield from item.parts()
            else:
                yield item


@dataclass(frozen=True, slots=True)
class Drawing:
    """A sheet of `width` × `height` mm, origin at the lower left corner."""

    title: str
    width: float
    height: float
    layers: tuple[DrawingLayer, ...]

    def __post_init__(self) -> None:
        for name, value in (("width", self.width), ("height", self.height)):
            if not (math.isfinite(value) and value > 0):
                raise ReliefError(f"drawing {name}: {value} mm given, must be a finite number above 0")

    def paths(self, layer: str) -> tuple[Path, ...]:
        """Return the paths of every layer called `layer`."""
        return tuple(
            item
            for lay in self.layers
            if lay.name == layer
            for item in lay.primitives()
            if isinstance(item, Path)
        )

    def texts(self) -> tuple[str, ...]:
        """Return every text of the drawing, bottom layer first."""
        return tuple(item.text for lay in self.layers for item in lay.primitives() if isinstance(item, Text))

    def moved(self, dx: float, dy: float, scale: float = 1.0) -> tuple[DrawingLayer, ...]:
        """Return the layers scaled about the origin and then moved, to be set into another drawing."""
        # One number of another kind would make each of thousands of points slow to move and to write.
        dx, dy, scale = float(dx), float(dy), float(scale)
        return tuple(
            DrawingLayer(lay.name, tuple(_moved(i, dx, dy, scale) for i in lay.primitives()))
            for lay in self.layers
        )


def _moved(item: Path | Text, dx: float, dy: float, scale: float) -> Path | Text:
    if isinstance(item, Path):
        return replace(item, points=tuple((x * scale + dx, y * scale + dy) for x, y in item.points))
    # Letters keep their size: a smaller copy must stay readable.
    return replace(item, at=(item.at[0] * scale + dx, item.at[1] * scale + dy))


def line(*points: Point, pen: Pen = SOLID) -> Path:
    """Return an open path through `points`."""
    return Path(tuple(points), pen=pen)


def rectangle(area: Box, *, radius: float = 0.0, pen: Pen | None = SOLID, hatch: Hatch | None = None) -> Path:
    """Return a rectangle, its corners rounded to `radius` [mm] (16 chords per corner)."""
    if radius <= 0:
        corners = (
            (area.left, area.bottom),
            (area.right, area.bottom),
            (area.right, area.top),
            (area.left, area.top),
        )
        return Path(corners, closed=True, pen=pen, hatch=hatch)
    points: list[Point] = []
    centres = (
        (area.right - radius, area.bottom + radius, -90),
        (area.right - radius, area.top - radius, 0),
        (area.left + radius, area.top - radius, 90),
        (area.left + radius, area.bottom + radius, 180),
    )
    for cx, cy, start in centres:
        for i in range(17):
            a = math.radians(start + 90 * i / 16)
            points.append((cx + radius * math.cos(a), cy + radius * math.sin(a)))
    return Path(tuple(points), closed=True, pen=pen, hatch=hatch)


def circle(centre: Point, radius: float, *, pen: Pen | None = SOLID, hatch: Hatch | None = None) -> Path:
    """Return a circle as a polygon of 72 corners that lie on it."""
    angles = [math.radians(5 * i) for i in range(72)]
    points = tuple((centre[0] + radius * math.cos(a), centre[1] + radius * math.sin(a)) for a in angles)
    return Path(points, closed=True, pen=pen, hatch=hatch)


def clipped(paths: Iterable[Path], window: Box) -> tuple[Path, ...]:
    """Return the parts of `paths` inside `window`, for sheets that show one piece of a larger outline.

    A closed path that crosses the window keeps its hatch inside and loses its stroke along the window's edge.
    """
    frame = box(window.left, window.bottom, window.right, window.top)
    kept: list[Path] = []
    for path in paths:
        b = path.bounds
        if (
            b.left >= window.left
            and b.right <= window.right
            and b.bottom >= window.bottom
            and b.top <= window.top
        ):
            kept.append(path)
            continue
        if path.hatch is not None:
            for part in _polygons(Polygon(path.points).intersection(frame)):
                kept.append(Path(tuple(part.exterior.coords)[:-1], closed=True, pen=None, hatch=path.hatch))
        if path.pen is not None:
            ring = path.points + path.points[:1] if path.closed else path.points
            for piece in _lines(LineString(ring).intersection(frame)):
                kept.append(Path(tuple(piece.coords), pen=path.pen))
    return tuple(kept)


def _polygons(shape: BaseGeometry) -> list[Polygon]:
    return [g for g in getattr(shape, "geoms", [shape]) if isinstance(g, Polygon) and not g.is_empty]


def _lines(shape: BaseGeometry) -> list[LineString]:
    return [g for g in getattr(shape, "geoms", [shape]) if isinstance(g, LineString) and g.length > 0]


# Advance widths in em, rounded up from the usual sans-serif proportions so that a line never runs over its
# column.
_NARROW, _WIDE = set("iIjlft.,:;'|!()[]/ -r"), set("mwMW@%")


def text_width(text: str, size: float, *, bold: bool = False) -> float:
    """Estimate the width of a line [mm] on the safe side, without asking any font."""
    ems = 0.0
    for c in text:
        if c in _NARROW:
            ems += 0.34
        elif c in _WIDE:
            ems += 0.89
        elif c.isupper():
            ems += 0.72
        else:
            ems += 0.56
    return ems * size * (1.05 if bold else 1.0)


def wrap(text: str, size: float, width: float, *, bold: bool = False) -> list[str]:
    """Break `text` at spaces into lines of at most `width` [mm]; a single longer word stands alone."""
    lines: list[str] = []
    current = ""
    for word in text.split():
        trial = f"{current} {word}" if current else word
        if current and text_width(trial, size, bold=bold) > width:
            lines.append(current)
            current = word
        else:
            current = trial
    return [*lines, current] if current else lines
