"""What every pressure picture is drawn on: places on paper, the picture of the cells, the scale beside it."""

from __future__ import annotations

import base64
from collections.abc import Iterable

from django.utils.html import escape
from django.utils.safestring import SafeString

from offload.core.pressure.limits import pressure_limits
from offload.core.shapes.outline import Outline, Point
from offload.core.sheets.plan_drawing import drawn_point
from offload.core.sheets.pressure_image import RAMP
from offload.pictures.plainer import plainer_line

__all__ = ["AROUND", "Paper", "image_tag", "opening_tag", "scale_legend"]

AROUND = 3.0  # [mm] of paper round what is drawn
LEGEND_STEPS = 60
Box = tuple[float, float, float, float]


class Paper:
    """A part of an insole on paper, between two of its corners [mm]; a left foot is drawn with its
    lateral side at the left.
    """

    def __init__(self, low: Point, high: Point, side: str) -> None:
        self.side, self.mirrored = side, side == "left"
        self.left = min(drawn_point(corner, side)[0] for corner in (low, high))
        self.top = high[1]
        self.size = high[0] - low[0] + 2 * AROUND, high[1] - low[1] + 2 * AROUND

    def place(self, point: Point) -> Point:
        """Where a point of the insole lies on paper [mm], from the upper left."""
        x, y = drawn_point(point, self.side)
        return x - self.left + AROUND, self.top - y + AROUND

    def box(self, low: Point, high: Point) -> Box:
        """Left, upper edge, width and height on paper of what lies between two corners [mm]."""
        left = min(self.place(low)[0], self.place(high)[0])
        return left, self.place(high)[1], high[0] - low[0], high[1] - low[1]

    def ring(self, points: Iterable[Point]) -> str:
        """A line through points, as a path."""
        return "M" + "L".join(f"{x:.2f},{y:.2f}" for x, y in map(self.place, plainer_line(tuple(points))))

    def outline(self, shape: Outline) -> str:
        """A shape with its holes, as a path."""
        return "".join(self.ring(part) + "Z" for part in (shape.exterior, *shape.holes))


def opening_tag(width: float, height: float, title: str) -> str:
    """The beginning of a picture of that size [mm]."""
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:.2f} {height:.2f}" role="img" '
        f'aria-label="{escape(title)}" class="pressure-svg" fill="none" stroke-linejoin="round">'
    )


def image_tag(png: bytes, box: Box) -> str:
    """A picture of cells in its box on paper [mm]."""
    x, y, width, height = (f"{value:.2f}" for value in box)
    return (
        f'<image href="data:image/png;base64,{base64.b64encode(png).decode()}" x="{x}" y="{y}" '
        f'width="{width}" '
        f'height="{height}" preserveAspectRatio="none"/>'
    )


def scale_legend(top: float) -> SafeString:
    """The ramp with its figures; the limit as the line it is in the pictures."""
    limit = pressure_limits().peak_elsewhere
    width, left, bar = 200.0, 6.0, 188.0
    step = bar / LEGEND_STEPS
    out = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:g} 24" role="img" '
        'class="pressure-legend" '
        f'aria-label="Scale from 0 to {top:g} kPa, dark is high; line at {limit:g} kPa">'
    ]
    for n in range(LEGEND_STEPS):
        r, g, b = RAMP[round(n / (LEGEND_STEPS - 1) * (len(RAMP) - 1))]
        out.append(
            f'<rect x="{left + n * step:.2f}" y="2" width="{step + 0.1:.2f}" height="9" '
            f'fill="rgb({r},{g},{b})"/>'
        )
    at = left + bar * limit / top
    out.append(
        f'<path d="M{at:.2f},0V13" class="level-under"/><path d="M{at:.2f},0V13" class="level"/>'
        f'<rect x="{left}" y="2" width="{bar}" height="9" fill="none" stroke="currentColor" '
        'stroke-width=".4"/>'
    )
    marks = [(0.0, "0"), (limit, f"{limit:g}"), (top, f"{top:g} kPa")]
    for value, words in marks:
        x = left + bar * value / top
        anchor = "start" if value == 0 else "end" if value == top else "middle"
        x = width - 2 if value == top else x
        out.append(
            f'<text x="{x:.2f}" y="21" font-size="8" text-anchor="{anchor}" '
            f'fill="currentColor">{words}</text>'
        )
    out.append("</svg>")
    return SafeString("".join(out))
