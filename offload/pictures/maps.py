"""A measured map as inline SVG: as its grid was read, with a scale to read points off, and laid on the
insole.
"""

from __future__ import annotations

from collections.abc import Collection

import numpy as np
from django.utils.safestring import SafeString

from offload.core.pressure.grid import PressureMap
from offload.core.pressure.measured import MeasuredGrid
from offload.core.shapes.insole import Insole
from offload.core.sheets.pressure_image import palette_png, scale_top
from offload.pictures.paper import AROUND, Paper, image_tag, opening_tag, scale_legend

__all__ = ["grid_picture", "map_picture"]

SCALE = 15.0  # [mm] of paper for the figures along the sides
STEP, NAMED = 10, 50  # [mm] between ticks, and between those with a figure


def grid_picture(grid: MeasuredGrid, side: str) -> SafeString:
    """The grid as read, seen from above, with millimetres from the heel's end and from the big-toe side."""
    kpa = np.array(grid.kpa)
    width, height = kpa.shape[1] * grid.cell[0], kpa.shape[0] * grid.cell[1]
    top = scale_top(kpa)
    mirrored = side == "left"
    title = f"The grid as read: {kpa.shape[0]} rows, {kpa.shape[1]} columns, peak {kpa.max():.0f} kPa"
    out = [opening_tag(SCALE + width + AROUND, AROUND + height + SCALE, title)]
    out.append(image_tag(palette_png(kpa, kpa > 0, top, mirrored=mirrored), (SCALE, AROUND, width, height)))
    out.append(
        f'<rect x="{SCALE}" y="{AROUND}" width="{width:.2f}" height="{height:.2f}" stroke="currentColor" '
        'stroke-width=".4"/>'
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
    return (
        f'<text x="{x:.2f}" y="{y:.2f}" font-size="5" text-anchor="{anchor}" '
        f'fill="currentColor">{value}</text>'
    )


def map_picture(placed: PressureMap, insole: Insole, side: str, marks: Collection[str]) -> SafeString:
    """A map on the insole, with the landmarks by which it was laid there."""
    kpa = placed.grid()
    x, y = placed.centres()
    dx, dy = placed.cell
    low, high = (x[0] - dx / 2, y[0] - dy / 2), (x[-1] + dx / 2, y[-1] + dy / 2)
    left, heel, right, toes = insole.outline.bounds
    paper = Paper((min(left, low[0]), min(heel, low[1])), (max(right, high[0]), max(toes, high[1])), side)
    top = scale_top(kpa)
    title = f"The measured map on the insole; peak {kpa.max():.0f} kPa"
    out = [opening_tag(*paper.size, title)]
    out.append(image_tag(palette_png(kpa, kpa > 0, top, mirrored=paper.mirrored), paper.box(low, high)))
    out.append(f'<path d="{paper.outline(insole.outline)}" stroke="currentColor" stroke-width=".6"/>')
    ends = [mark.at for mark in insole.landmarks if mark.name in marks]
    out.append(f'<path d="{paper.ring(ends)}" class="cut-under"/><path d="{paper.ring(ends)}" class="cut"/>')
    for a, b in map(paper.place, ends):
        cross = f"M{a - 4:.2f},{b:.2f}h8M{a:.2f},{b - 4:.2f}v8"
        out.append(f'<path d="{cross}" class="level-under"/><path d="{cross}" class="level"/>')
    out.append("</svg>")
    return SafeString("".join(out) + scale_legend(top))
