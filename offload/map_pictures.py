"""A measured map as inline SVG: as its grid was read, with a scale to read points off, and laid on the insole."""

from __future__ import annotations

import base64
from collections.abc import Collection

import numpy as np
from django.utils.safestring import SafeString

from offload.core.insole import Insole
from offload.core.measured import MeasuredGrid
from offload.core.outline import Point
from offload.core.plan_drawing import drawn_point
from offload.core.pressure_image import palette_png, scale_top
from offload.core.spec import PressureMap
from offload.pictures import scale_legend

__all__ = ["grid_picture", "map_picture"]

AROUND = 3.0  # [mm] of paper round what is drawn
SCALE = 15.0  # [mm] of paper for the figures along the sides
STEP, NAMED = 10, 50  # [mm] between ticks, and between those with a figure


def _image(kpa: np.ndarray, shown: np.ndarray, top: float, mirrored: bool, box: tuple[float, ...]) -> str:
    data = base64.b64encode(palette_png(kpa, shown, top, mirrored=mirrored)).decode()
    x, y, width, height = (f"{value:.2f}" for value in box)
    return (
        f'<image href="data:image/png;base64,{data}" x="{x}" y="{y}" width="{width}" height="{height}" '
        'preserveAspectRatio="none"/>'
    )


def _opening(width: float, height: float, title: str) -> str:
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:.2f} {height:.2f}" role="img" '
        f'aria-label="{title}" class="pressure-svg" fill="none" stroke-linejoin="round">'
    )


def grid_picture(grid: MeasuredGrid, side: str) -> SafeString:
    """The grid as read, seen from above, with millimetres from the heel's end and from the big-toe side."""
    kpa = np.array(grid.kpa)
    width, height = kpa.shape[1] * grid.cell[0], kpa.shape[0] * grid.cell[1]
    top = scale_top(kpa)
    mirrored = side == "left"
    title = f"The grid as read: {kpa.shape[0]} rows, {kpa.shape[1]} columns, peak {kpa.max():.0f} kPa"
    out = [_opening(SCALE + width + AROUND, AROUND + height + SCALE, title)]
    out.append(_image(kpa, kpa > 0, top, mirrored, (SCALE, AROUND, width, height)))
    out.append(
        f'<rect x="{SCALE}" y="{AROUND}" width="{width:.2f}" height="{height:.2f}" stroke="currentColor" stroke-width=".4"/>'
    )
    for along in range(0, int(height) + 1, STEP):
        y, named = AROUND + height - along, along % NAMED == 0
        out.append(
            f'<path d="M{SCALE:g},{y:.2f}h{-3 if named else -1.5}" stroke="currentColor" stroke-width=".4"/>'
        )
        if named:
            out.append(_figure(SCALE - 4, y + 1.6, along, "end"))
    for across in range(0, int(width) + 1, STEP):
        x, named = SCALE + (width - across if mirrored else across), across % NAMED == 0
        y = AROUND + height
        out.append(
            f'<path d="M{x:.2f},{y:.2f}v{3 if named else 1.5}" stroke="currentColor" stroke-width=".4"/>'
        )
        if named:
            out.append(_figure(x, y + 8, across, "middle"))
    out.append("</svg>")
    return SafeString("".join(out) + scale_legend(top))


def _figure(x: float, y: float, value: int, anchor: str) -> str:
    return f'<text x="{x:.2f}" y="{y:.2f}" font-size="5" text-anchor="{anchor}" fill="currentColor">{value}</text>'


def map_picture(placed: PressureMap, insole: Insole, side: str, marks: Collection[str]) -> SafeString:
    """A map on the insole, with the landmarks by which it was laid there."""
    kpa = placed.grid()
    x, y = placed.centres()
    dx, dy = placed.cell
    low_x, low_y, high_x, high_y = insole.outline.bounds
    low_x, high_x = min(low_x, float(x[0]) - dx / 2), max(high_x, float(x[-1]) + dx / 2)
    low_y, high_y = min(low_y, float(y[0]) - dy / 2), max(high_y, float(y[-1]) + dy / 2)
    sides = sorted(drawn_point((value, 0.0), side)[0] for value in (low_x, high_x))
    left, width = sides[0], sides[1] - sides[0]

    def place(point: Point) -> Point:
        across, along = drawn_point(point, side)
        return across - left + AROUND, high_y - along + AROUND

    corners = [place((float(value), float(y[-1]) + dy / 2)) for value in (x[0] - dx / 2, x[-1] + dx / 2)]
    box = (min(c[0] for c in corners), corners[0][1], len(x) * dx, len(y) * dy)
    top = scale_top(kpa)
    outline = "M" + "L".join(f"{a:.2f},{b:.2f}" for a, b in map(place, insole.outline.exterior)) + "Z"
    title = f"The measured map on the insole; peak {kpa.max():.0f} kPa"
    out = [_opening(width + 2 * AROUND, high_y - low_y + 2 * AROUND, title)]
    out.append(_image(kpa, kpa > 0, top, side == "left", box))
    out.append(f'<path d="{outline}" stroke="currentColor" stroke-width=".6"/>')
    ends = [place(mark.at) for mark in insole.landmarks if mark.name in marks]
    line = "M" + "L".join(f"{a:.2f},{b:.2f}" for a, b in ends)
    out.append(f'<path d="{line}" class="cut-under"/><path d="{line}" class="cut"/>')
    for a, b in ends:
        cross = f"M{a - 4:.2f},{b:.2f}h8M{a:.2f},{b - 4:.2f}v8"
        out.append(f'<path d="{cross}" class="level-under"/><path d="{cross}" class="level"/>')
    out.append("</svg>")
    return SafeString("".join(out) + scale_legend(top))
