"""Reading plans for a page: drawings as inline SVG, checks in the order of their weight, figures in words."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from django.utils.safestring import SafeString

from offload.core import CORE_VERSION, NOTICE
from offload.core.errors import ReliefError
from offload.core.plan.checks import Check
from offload.core.plan.compute import ClearanceAdvice, ComputedPlan, pressure_json
from offload.core.plan.inlays import inlays_in
from offload.core.plan.policy import DEFAULT_POLICY, CutDecision
from offload.core.plan.proposal import closing_words
from offload.core.plan.report import PressureField
from offload.core.plan.spec import ReliefSpec
from offload.core.plan.summary import (
    BASELINE_WORDS,
    InlayLine,
    UlcerLine,
    change_words,
    gain_words,
    inlay_lines,
    load_source,
    load_words,
    low_words,
    summary_of,
    ulcer_lines,
)
from offload.core.shapes.insole import Insole
from offload.core.shapes.lesion import LesionSpec
from offload.core.shapes.outline import Outline
from offload.core.sheets.drawing import Drawing, DrawingLayer, Item, Pen, Text
from offload.core.sheets.plan_drawing import drawn_bounds, drawn_point, insole_drawing, ring_path
from offload.core.sheets.section import UnderLoad, section_drawing
from offload.core.sheets.writers.svg import write_svg
from offload.pictures.cuts import AlternativeLine, SuggestionLine, alternative_lines, suggestion_lines
from offload.pictures.plainer import plainer_drawing
from offload.pictures.pressure import PressureImages, pressure_images

__all__ = [
    "CheckLine",
    "Frame",
    "InsolePicture",
    "PlanPicture",
    "bare_picture",
    "plan_picture",
]

AROUND = 5.0  # [mm] of paper round the insole
OTHER_PEN = Pen(0.25, (0.4, 1.4), 0.2)
#: How loud a flagged check is: its word and its shape in the sprite.
LOUDNESS = {
    "error": ("Stops signing", "flag"),
    "warn": ("Flagged", "watch"),
    "note": ("Note", "too_early"),
}
ORDER = {"error": 0, "warn": 1, "note": 2}


@dataclass(frozen=True)
class Frame:
    """Where the drawing lies in the drawn frame (left foot mirrored), so that a pointer can be read back
    [mm].
    """

    side: str
    left: float
    bottom: float
    width: float
    height: float


@dataclass(frozen=True)
class InsolePicture:
    """The insole alone, or with its plan, as inline SVG."""

    svg: SafeString
    frame: Frame


@dataclass(frozen=True)
class CheckLine:
    """One check as the page shows it."""

    id: str
    severity: str
    passed: bool
    kind: str
    words: str
    message: str


@dataclass(frozen=True)
class LesionPressureLine:
    """Peak at one lesion before [kPa] and, in words, after and its change, with its range over tissue
    stiffness [kPa]; mean over a patch before, its median after and 80 % interval [kPa], and the chance that
    the void closes [-], where they are known.
    """

    label: str
    before: float
    after: str
    low: float
    high: float
    bottomed: float
    clearance: float
    patch_before: float | None
    median: float | None
    likely: tuple[float, float] | None
    closes: float | None
    change: str


@dataclass(frozen=True)
class PlanPicture:
    """All that a page shows of a computed plan."""

    insole: InsolePicture
    sections: tuple[tuple[str, SafeString], ...]
    checks: tuple[CheckLine, ...]
    openings: tuple[dict[str, Any], ...]
    layers: tuple[dict[str, Any], ...]
    cut_words: str
    reasons: tuple[str, ...]
    advice: ClearanceAdvice
    pressure: Mapping[str, Any] | None
    baseline: str
    pressure_lines: tuple[LesionPressureLine, ...]
    pressure_images: tuple[PressureImages, ...]
    pressure_remark: str
    load: str
    load_source: str
    words: tuple[str, ...]
    ulcers: tuple[UlcerLine, ...]
    gains: tuple[str, ...]
    inlay_lines: tuple[InlayLine, ...]
    inlays: tuple[dict[str, Any], ...]
    rule: str
    departs: bool
    policy: tuple[str, ...]
    alternatives: tuple[AlternativeLine, ...]
    suggestions: tuple[SuggestionLine, ...]
    closing: str
    departures: tuple[str, ...]
    notice: str

    @property
    def is_sure(self) -> bool:
        """Whether chances were worked out."""
        return any(line.closes is not None for line in self.pressure_lines)

    @property
    def flagged(self) -> tuple[CheckLine, ...]:
        return tuple(check for check in self.checks if not check.passed)

    @property
    def stopping(self) -> int:
        """How many checks stop signing."""
        return sum(check.kind == "flag" for check in self.flagged)

    @property
    def summary(self) -> str:
        """The checks in one clause."""
        if not self.flagged:
            return f"none of {len(self.checks)} checks is flagged"
        return f"{len(self.flagged)} of {len(self.checks)} checks flagged"


def bare_picture(
    side: str,
    insole: Insole,
    lesions: Sequence[tuple[str, Outline]] = (),
    others: Sequence[tuple[str, Outline]] = (),
) -> InsolePicture:
    """The insole with lesions but without any cut, for the time when no plan can be computed."""
    shown = ComputedPlan(
        spec=ReliefSpec(
            side=side,
            foot_length=insole.foot_length,
            body_weight=math.nan,  # nothing that is drawn here depends on it
            lesions=tuple(LesionSpec(label, outline) for label, outline in lesions),
        ),
        policy=DEFAULT_POLICY,
        decision=CutDecision((), (), (), ()),
        insole=insole,
        openings=(),
        cut_layers=(),
        clearance_advice=ClearanceAdvice(None, ""),
        reasons=(),
        checks=(),
        notice=NOTICE,
        core_version=CORE_VERSION,
    )
    return _insole_picture(shown, others)


def plan_picture(
    plan: ComputedPlan,
    *,
    fields: Sequence[PressureField] = (),
    others: Sequence[tuple[str, Outline]] = (),
    departures: Sequence[str] = (),
    remark: str = "",
    cell_by_cell: bool = True,
) -> PlanPicture:
    """A computed plan as a page shows it.

    `others` are lesions of the limb that the plan does not serve; `remark` is said of its pressure pictures;
    without `cell_by_cell` there are none of those.
    """
    reasons, sections = list(plan.reasons), []
    for lesion in plan.spec.lesions:
        try:
            sections.append(
                (
                    lesion.label,
                    _inline(
                        section_drawing(plan, lesion.label, under_load=_under_load(plan, lesion, fields))
                    ),
                )
            )
        except ReliefError as error:
            sections.append((lesion.label, SafeString("")))
            reasons.append(f"The section through ulcer {lesion.label} cannot be drawn: {error}")
    return PlanPicture(
        insole=_insole_picture(plan, others),
        sections=tuple(sections),
        checks=tuple(_check_line(check) for check in sorted(plan.checks, key=_weight)),
        openings=tuple(
            {
                "labels": ", ".join(opening.labels),
                "area_mm2": opening.area,
                "floor_mm2": opening.floor_area,
                "to_edge": opening.open_to_edge,
            }
            for opening in plan.openings
        ),
        layers=tuple(
            {
                "role": layer.role,
                "foam": layer.foam,
                "thickness_mm": layer.thickness,
                "cut": layer.role in plan.cut_layers,
            }
            for layer in plan.spec.stack
        ),
        cut_words=" and ".join(plan.cut_layers),
        reasons=tuple(reasons),
        advice=plan.clearance_advice,
        pressure=pressure_json(plan.pressure) if plan.pressure else None,
        baseline=BASELINE_WORDS[plan.pressure.baseline] if plan.pressure else "",
        pressure_lines=_pressure_lines(plan),
        pressure_images=pressure_images(plan, fields) if cell_by_cell else (),
        pressure_remark=remark,
        load=load_words(plan),
        load_source=load_source(plan),
        words=summary_of(plan),
        ulcers=ulcer_lines(plan),
        gains=gain_words(plan),
        inlay_lines=inlay_lines(plan),
        inlays=tuple(
            {"words": one.words, "area_mm2": one.inlay.region.area, "thickness_mm": one.layer.thickness}
            for one in inlays_in(plan.spec.stack)
        ),
        rule=" and ".join(plan.decision.policy_layers),
        departs=plan.decision.departs,
        policy=plan.decision.policy_reasons,
        alternatives=alternative_lines(plan),
        suggestions=suggestion_lines(plan),
        closing=closing_words(plan),
        departures=tuple(departures),
        notice=plan.notice,
    )


def _insole_picture(plan: ComputedPlan, others: Sequence[tuple[str, Outline]]) -> InsolePicture:
    side = plan.spec.side
    bounds = drawn_bounds(plan).grown(AROUND)
    drawing = insole_drawing(plan, margin=AROUND)
    if others:
        items: list[Item] = []
        for label, outline in others:
            x, y = drawn_point(outline.centroid, side)
            items += [
                *ring_path(outline, side, OTHER_PEN),
                Text((x, y - 1.3), label, 3.4, "middle", shade=0.3),
            ]
        layer = Drawing("others", 1, 1, (DrawingLayer("OTHER", tuple(items)),)).moved(
            -bounds.left, -bounds.bottom
        )
        drawing = replace(drawing, layers=(*drawing.layers, *layer))
    frame = Frame(side, bounds.left, bounds.bottom, bounds.width, bounds.height)
    return InsolePicture(_inline(drawing), frame)


def _inline(drawing: Drawing) -> SafeString:
    # Our own writer escapes every text and writes neither scripts nor style attributes.
    return SafeString(write_svg(plainer_drawing(drawing)).decode())


def _weight(check: Check) -> tuple[bool, int]:
    return check.passed, ORDER.get(check.severity, len(ORDER))


def _check_line(check: Check) -> CheckLine:
    loud = LOUDNESS["warn" if check.severity == "error" and not check.stops else check.severity]
    words, kind = ("Not flagged", "healed") if check.passed else loud
    # A check of the estimate begins with the very words that stand beside it.
    message = check.message
    for prefix in ("Flagged: ", "Not flagged: "):
        if message.startswith(prefix):
            message = message.removeprefix(prefix)
            message = message[0].upper() + message[1:]
    return CheckLine(check.id, check.severity, check.passed, kind, words, message)


def _under_load(plan: ComputedPlan, lesion: LesionSpec, fields: Sequence[PressureField]) -> UnderLoad | None:
    """The load on the line of a lesion's section, where it was solved."""
    worst = (
        next((one for one in plan.pressure.lesions if one.label == lesion.label), None)
        if plan.pressure
        else None
    )
    field = next((one for one in fields if worst is not None and one.case == worst.load_case), None)
    if worst is None or field is None:
        return None
    column = int(abs(field.x - lesion.outline.centroid[0]).argmin())
    return UnderLoad(
        y=field.y.tolist(),
        descent=field.descent_mm[:, column].tolist(),
        void=field.void_mm[:, column].tolist(),
        still_open=field.void_left_mm[:, column].tolist(),
        left=worst.clearance,
    )


def _pressure_lines(plan: ComputedPlan) -> tuple[LesionPressureLine, ...]:
    if plan.pressure is None:
        return ()
    return tuple(
        LesionPressureLine(
            label=one.label,
            before=one.peak_before,
            after=low_words(one.peak_after),
            low=one.peak_after_range[0],
            high=one.peak_after_range[1],
            bottomed=one.bottomed_percent,
            clearance=one.clearance,
            patch_before=one.patch_mean_before,
            median=one.patch_median_after,
            likely=one.patch_mean_after_80,
            closes=one.closes_chance,
            change="" if one.reduction_percent is None else change_words(one.reduction_percent, one),
        )
        for one in plan.pressure.lesions
    )
