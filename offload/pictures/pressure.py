"""Pressure before and after the cut as inline SVG: a picture from the array, lines and words over it."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from django.utils.safestring import SafeString

from offload.core.plan.compute import ComputedPlan
from offload.core.plan.report import PressureField
from offload.core.plan.summary import CASE_WORDS
from offload.core.pressure.limits import pressure_limits
from offload.core.sheets.pressure_image import contour_lines, palette_png, scale_top
from offload.pictures.paper import Paper, image_tag, opening_tag, scale_legend

__all__ = ["PressureImages", "pressure_images"]


@dataclass(frozen=True)
class PressureImages:
    """One load case before and after, on one scale."""

    case: str
    before: SafeString
    after: SafeString
    legend: SafeString
    limit: float
    """The pressure of the heavy line [kPa]."""


def pressure_images(plan: ComputedPlan, fields: Sequence[PressureField]) -> tuple[PressureImages, ...]:
    """Pictures of every load case of a plan; all share one scale."""
    if not fields:
        return ()
    top = scale_top(*(field.before_kpa for field in fields), *(field.after_kpa for field in fields))
    limit = pressure_limits().peak_elsewhere
    legend = scale_legend(top)
    return tuple(
        PressureImages(CASE_WORDS[field.case], *_pair(plan, field, top, limit), legend, limit)
        for field in fields
    )


def _pair(
    plan: ComputedPlan, field: PressureField, top: float, limit: float
) -> tuple[SafeString, SafeString]:
    """The pictures of one load case, before and after the cut."""
    dx, dy = float(field.x[1] - field.x[0]), float(field.y[1] - field.y[0])
    low = float(field.x[0]) - dx / 2, float(field.y[0]) - dy / 2
    high = float(field.x[-1]) + dx / 2, float(field.y[-1]) + dy / 2
    paper = Paper(low, high, plan.spec.side)
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
        png = palette_png(kpa, foam, top, mirrored=paper.mirrored)
        key = "p" + hashlib.sha256(png + when.encode()).hexdigest()[:8]
        peak = float(kpa.max(initial=0.0))
        title = f"Pressure {when} at {CASE_WORDS[field.case]}, estimate; peak {peak:.0f} kPa"
        level = "".join(paper.ring(line) for line in contour_lines(field.x, field.y, kpa, limit))
        lines = f'<path d="{level}" class="level-under"/><path d="{level}" class="level"/>' if level else ""
        return SafeString(
            f'{opening_tag(*paper.size, title)}<clipPath id="{key}"><path d="{insole}"/></clipPath>'
            f'<g clip-path="url(#{key})">{image_tag(png, paper.box(low, high))}</g>'
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
