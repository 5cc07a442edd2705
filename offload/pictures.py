"""Pressure before and after the cut as inline SVG: a picture from the array, lines and words over it."""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from django.utils.html import escape
from django.utils.safestring import SafeString

from offload.core.baseline import load_constants
from offload.core.outline import Outline, Point
from offload.core.plan import ReliefPlan
from offload.core.plan_drawing import drawn_point
from offload.core.pressure import PressureField
from offload.core.pressure_image import RAMP, contour_lines, palette_png, scale_top
from offload.core.summary import CASE_WORDS

__all__ = ["PressureImages", "pressure_images", "scale_legend"]

AROUND = 3.0  # [mm] of paper round what is drawn
LEGEND_STEPS = 60


@dataclass(frozen=True)
class PressureImages:
    """One load case before and after, on one scale."""

    case: str
    before: SafeString
    after: SafeString
    legend: SafeString


def pressure_images(plan: ReliefPlan, fields: Sequence[PressureField]) -> tuple[PressureImages, ...]:
    """Pictures of every load case of a plan; all share one scale."""
    if not fields:
        return ()
    top = scale_top(*(field.before_kpa for field in fields), *(field.after_kpa for field in fields))
    limit = _limit()
    legend = scale_legend(top)
    return tuple(
        PressureImages(CASE_WORDS[field.case], *_pair(plan, field, top, limit), legend) for field in fields
    )


class _Paper:
    """The frame of one load case's pictures: points of the insole to places on paper."""

    def __init__(self, field: PressureField, side: str) -> None:
        dx, dy = float(field.x[1] - field.x[0]), float(field.y[1] - field.y[0])
        low_x, high_x = float(field.x[0]) - dx / 2, float(field.x[-1]) + dx / 2
        low_y, self.high_y = float(field.y[0]) - dy / 2, float(field.y[-1]) + dy / 2
        corners = [drawn_point((x, low_y), side)[0] for x in (low_x, high_x)]
        self.side, self.left = side, min(corners)
        self.width, self.height = max(corners) - self.left, self.high_y - low_y

    def ring(self, points: Iterable[Point]) -> str:
        placed = (drawn_point(point, self.side) for point in points)
        return "M" + "L".join(
            f"{x - self.left + AROUND:.2f},{self.high_y - y + AROUND:.2f}" for x, y in placed
        )

    def outline(self, shape: Outline) -> str:
        return "".join(self.ring(part) + "Z" for part in (shape.exterior, *shape.holes))


def _pair(plan: ReliefPlan, field: PressureField, top: float, limit: float) -> tuple[SafeString, SafeString]:
    """The pictures of one load case, before and after the cut."""
    paper = _Paper(field, plan.spec.side)
    insole, foam = paper.outline(plan.insole.outline), _widened(field.foam)
    cuts = [paper.outline(opening.opening) for opening in plan.openings]
    lesions = [paper.outline(lesion.outline) for lesion in plan.spec.lesions]
    lesion_lines = "".join(
        f'<path d="{shape}" class="cut-under"/><path d="{shape}" class="lesion-line"/>' for shape in lesions
    )
    cut_lines = "".join(
        f'<path d="{shape}" class="cut-under"/><path d="{shape}" class="cut"/>' for shape in cuts
    )

    def picture(kpa: np.ndarray, when: str, over: str) -> SafeString:
        png = palette_png(kpa, foam, top, mirrored=paper.side == "left")
        data = base64.b64encode(png).decode()
        key = "p" + hashlib.sha256(png + when.encode()).hexdigest()[:8]
        peak = float(kpa.max(initial=0.0))
        title = f"Pressure {when} at {CASE_WORDS[field.case]}, estimate; peak {peak:.0f} kPa"
        level = "".join(paper.ring(line) for line in contour_lines(field.x, field.y, kpa, limit))
        lines = f'<path d="{level}" class="level-under"/><path d="{level}" class="level"/>' if level else ""
        return SafeString(
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {paper.width + 2 * AROUND:.2f} '
            f'{paper.height + 2 * AROUND:.2f}" role="img" aria-label="{escape(title)}" class="pressure-svg" fill="none" '
            f'stroke-linejoin="round"><clipPath id="{key}"><path d="{insole}"/></clipPath>'
            f'<g clip-path="url(#{key})"><image href="data:image/png;base64,{data}" x="{AROUND}" y="{AROUND}" '
            f'width="{paper.width:.2f}" height="{paper.height:.2f}" preserveAspectRatio="none"/></g>'
            f'<path d="{insole}" stroke="currentColor" stroke-width=".5"/>{lines}{over}</svg>'
        )

    before = picture(field.before_kpa, "before the cut", lesion_lines)
    return before, picture(field.after_kpa, "after the cut", cut_lines + lesion_lines)


def _widened(foam: np.ndarray) -> np.ndarray:
    """The cells and their neighbours, so that the picture reaches under the outline that clips it."""
    wide = foam.copy()
    wide[1:] |= foam[:-1]
    wide[:-1] |= foam[1:]
    wide[:, 1:] |= foam[:, :-1]
    wide[:, :-1] |= foam[:, 1:]
    return wide


def _limit() -> float:
    """The pressure that is drawn as a line [kPa]."""
    return float(load_constants()["limits"]["peak_elsewhere_kpa"]["value"])


def scale_legend(top: float) -> SafeString:
    """The ramp with its figures; 200 kPa as the line it is in the pictures."""
    limit = _limit()
    width, left, bar = 200.0, 6.0, 188.0
    step = bar / LEGEND_STEPS
    out = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:g} 24" role="img" class="pressure-legend" '
        f'aria-label="Scale from 0 to {top:g} kPa, dark is high; line at {limit:g} kPa">'
    ]
    for n in range(LEGEND_STEPS):
        r, g, b = RAMP[round(n / (LEGEND_STEPS - 1) * (len(RAMP) - 1))]
        out.append(
            f'<rect x="{left + n * step:.2f}" y="2" width="{step + 0.1:.2f}" height="9" fill="rgb({r},{g},{b})"/>'
        )
    at = left + bar * limit / top
    out.append(
        f'<path d="M{at:.2f},0V13" class="level-under"/><path d="M{at:.2f},0V13" class="level"/>'
        f'<rect x="{left}" y="2" width="{bar}" height="9" fill="none" stroke="currentColor" stroke-width=".4"/>'
    )
    marks = [(0.0, "0"), (limit, f"{limit:g}"), (top, f"{top:g} kPa")]
    for value, words in marks:
        x = left + bar * value / top
        anchor = "start" if value == 0 else "end" if value == top else "middle"
        x = width - 2 if value == top else x
        out.append(
            f'<text x="{x:.2f}" y="21" font-size="8" text-anchor="{anchor}" fill="currentColor">{words}</text>'
        )
    out.append("</svg>")
    return SafeString("".join(out))
