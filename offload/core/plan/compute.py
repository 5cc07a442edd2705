"""A whole relief plan: insole, openings, layers to cut, reasons, checks, pressure."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

from offload.core import CORE_VERSION, NOTICE
from offload.core.errors import SpecError
from offload.core.plan.checks import Check, geometry_checks
from offload.core.plan.inlay_checks import inlay_checks
from offload.core.plan.inlays import InlayGain, gains_json
from offload.core.plan.openings import Opening, Wall, cut_openings
from offload.core.plan.policy import DEFAULT_POLICY, CutDecision, Policy, decide
from offload.core.plan.spec import ReliefSpec
from offload.core.pressure.placement import faults_of_lesions, faults_of_map, share_off_insole
from offload.core.shapes.insole import Insole, insole_for
from offload.core.shapes.outline import Outline

__all__ = [
    "PLACES",
    "Alternative",
    "ClearanceAdvice",
    "LesionPressure",
    "PressureFindings",
    "PressureReport",
    "ComputedPlan",
    "as_json",
    "compute",
    "pressure_json",
    "with_pressure",
]


@dataclass(frozen=True)
class ClearanceAdvice:
    """The cut that mechanics would choose, beside the policy's; None where no cut helps or none was
    computed.
    """

    cut_layers: tuple[str, ...] | None
    because: str


@dataclass(frozen=True)
class LesionPressure:
    """Pressure at one lesion before and after the cut [kPa], bottoming out [%] and clearance [mm].

    ``patch_mean`` is the highest mean over a patch as large as an insole sensor, by which cuts are ranked;
    the peak is that of one cell. None in plans kept before there was one.
    """

    label: str
    load_case: str
    peak_before: float
    peak_after: float
    mean_before: float
    mean_after: float
    reduction_percent: float | None
    bottomed_percent: float
    clearance: float
    peak_after_range: tuple[float, float]
    patch_mean_before: float | None = None
    patch_mean_after: float | None = None
    patch_mean_after_80: tuple[float, float] | None = None
    patch_median_after: float | None = None
    closes_chance: float | None = None


@dataclass(frozen=True)
class PressureReport:
    """Pressures of a plan; loads [N] and rim and elsewhere figures [kPa] are of the first lesion's load case.

    ``device_factor`` is the central, low and high factor of the device and of a barefoot map there; None in a
    flat shoe.
    """

    baseline: str
    load: float
    solved_load: float
    rim_peak_before: float
    rim_peak_after: float
    elsewhere_peak_before: float
    elsewhere_peak_after: float
    elsewhere_mean_before: float
    elsewhere_mean_after: float
    lesions: tuple[LesionPressure, ...]
    device: str | None = None
    device_factor: tuple[float, float, float] | None = None


@dataclass(frozen=True)
class Alternative:
    """Another cut for the same lesions: lengths [mm], angle [deg], area [mm²], peaks [kPa].

    They stand in the order of ``patch_mean_after``, the highest mean over a sensor-sized patch at the worst
    lesion [kPa]; ``relieves_more_chance`` is the chance that this cut leaves a lower one than the plan's [-].
    """

    cut_layers: tuple[str, ...]
    margin: float
    distal_margin: float
    bevel: float
    area: float
    peak_after: float
    rim_peak_after: float
    passed: bool
    patch_mean_after: float | None = None
    relieves_more_chance: float | None = None


@dataclass(frozen=True)
class PressureFindings:
    """All that a pressure model adds to a plan whose geometry is known."""

    report: PressureReport
    alternatives: tuple[Alternative, ...]
    clearance_advice: ClearanceAdvice
    reasons: tuple[str, ...] = ()
    checks: tuple[Check, ...] = ()
    gains: tuple[InlayGain, ...] = ()


@dataclass(frozen=True)
class ComputedPlan:
    """A computed plan.

    Parameters
    ----------
    spec : ReliefSpec
        What it was computed from.
    policy : Policy
        The house rules it was computed with; whatever is computed from the plan takes them from here.
    decision : CutDecision
        Which layers to cut, and what the policy alone would cut.
    insole : Insole
        Outline, zones and landmarks.
    openings : tuple of Opening
        In the order of their first lesion.
    cut_layers : tuple of str
        Roles of the cut layers from the foot down (``middle`` stands for all middles).
    clearance_advice : ClearanceAdvice
        What mechanics would cut.
    reasons : tuple of str
        Why it is as it is, in sentences.
    pressure, alternatives, gains
        None or empty until pressures are joined (`with_pressure`); gains are those of inlays.
    """

    spec: ReliefSpec
    policy: Policy
    decision: CutDecision
    insole: Insole
    openings: tuple[Opening, ...]
    cut_layers: tuple[str, ...]
    clearance_advice: ClearanceAdvice
    reasons: tuple[str, ...]
    checks: tuple[Check, ...]
    pressure: PressureReport | None = None
    alternatives: tuple[Alternative, ...] = ()
    gains: tuple[InlayGain, ...] = ()
    notice: str = NOTICE
    core_version: str = CORE_VERSION

    @property
    def cut_indices(self) -> tuple[int, ...]:
        """Places of the cut layers in the stack, 0 = cover."""
        return tuple(i for i, layer in enumerate(self.spec.stack) if layer.role in self.cut_layers)

    @property
    def sheet_indices(self) -> tuple[int, ...]:
        """Places of the layers that have a sheet: those cut and those with an inlay."""
        return tuple(i for i, one in enumerate(self.spec.stack) if i in self.cut_indices or one.inlays)

    @property
    def passed(self) -> bool:
        """Whether no check is flagged."""
        return all(check.passed for check in self.checks)


PLACES = (("rim", "peak"), ("elsewhere", "peak"), ("elsewhere", "mean"))
NO_ADVICE = ClearanceAdvice(None, "No pressure model was run, so no cut can be advised from mechanics.")


def compute(
    spec: ReliefSpec,
    *,
    policy: Policy = DEFAULT_POLICY,
    insole: Insole | None = None,
) -> ComputedPlan:
    """Compute the relief plan of a specification.

    Parameters
    ----------
    spec : ReliefSpec
    policy : Policy
        House rules; the packaged ones by default.
    insole : Insole or None
        An insole whose zone lines or landmarks were moved; otherwise it follows from the specification.

    Returns
    -------
    ComputedPlan

    Raises
    ------
    SpecError
        If a lesion or the pressure map does not lie on the insole.
    ImpossibleRelief
        If the margins, bevel and layers leave no floor.

    Examples
    --------
    >>> from offload.core.plan.compute import compute
    >>> from offload.core.plan.spec import ReliefSpec
    >>> from offload.core.shapes.lesion import Ellipse, LesionSpec
    >>> lesion = LesionSpec.of_shape('A', Ellipse((-20.0, 185.0), 12.0, 9.0))  # mm, from the heel
    >>> plan = compute(ReliefSpec(side='left', foot_length=255, body_weight=82, lesions=(lesion,)))
    >>> plan.cut_layers, [opening.labels for opening in plan.openings]
    (('middle',), [('A',)])
    >>> plan.reasons[0]
    'Body weight 82 kg is below the threshold of 90 kg: cut the middle.'
    """
    if insole is None:
        insole = insole_for(spec.foot_length, spec.foot_width, spec.insole_outline)
    faults = faults_of_lesions(spec.lesions, insole.outline)
    if spec.pressure_map is not None:
        faults += faults_of_map(spec.pressure_map, insole.outline, spec.body_weight)
    if faults:
        raise SpecError(faults)
    decision = decide(spec.stack, spec.body_weight, spec.rigid_deformity, spec.cut, policy)
    wall = Wall(spec.margin, spec.distal_margin, spec.bevel, spec.margin_face)
    cutting = cut_openings(spec.lesions, insole.outline, spec.stack, decision.cut_layers, wall, policy)
    return ComputedPlan(
        spec=spec,
        policy=policy,
        decision=decision,
        insole=insole,
        openings=cutting.openings,
        cut_layers=decision.cut_layers,
        clearance_advice=NO_ADVICE,
        reasons=(
            *decision.reasons,
            _margin_reason(spec),
            *cutting.reasons,
            *insole.notes,
            *_map_reasons(spec, insole),
        ),
        checks=(
            *geometry_checks(cutting.openings, spec.lesions, insole, spec.stack, policy),
            *inlay_checks(cutting.openings, spec.lesions, insole, spec.stack),
        ),
    )


def with_pressure(plan: ComputedPlan, findings: PressureFindings) -> ComputedPlan:
    """The plan with the findings of a pressure model: the one place where pressure joins a plan."""
    return replace(
        plan,
        pressure=findings.report,
        alternatives=findings.alternatives,
        gains=findings.gains,
        clearance_advice=findings.clearance_advice,
        reasons=plan.reasons + findings.reasons,
        checks=plan.checks + findings.checks,
    )


def _margin_reason(spec: ReliefSpec) -> str:
    face = "the base of the opening" if spec.margin_face == "floor" else "the foot-facing side of the opening"
    return (
        f"The margin is {spec.margin:g} mm all round and {spec.distal_margin:g} mm towards the toes, "
        "measured on "
        f"{face}; the wall stands at {spec.bevel:g}° (common practice, no source)."
    )


def _map_reasons(spec: ReliefSpec, insole: Insole) -> tuple[str, ...]:
    if spec.pressure_map is None:
        return ()
    off = share_off_insole(spec.pressure_map, insole.outline)
    return (f"{off:.1f} % of the measured load lie on cells off the insole and are ignored.",)


def as_json(plan: ComputedPlan) -> dict[str, Any]:
    """The plan as plain values, in the order and with the names of the command's contract.

    Parameters
    ----------
    plan : ComputedPlan

    Returns
    -------
    dict
        JSON-ready; lengths rounded to 0.1 µm, other figures to six decimals, never NaN.
    """
    advised = plan.clearance_advice.cut_layers
    return {
        "openings": [
            {
                "labels": list(opening.labels),
                "opening_mm": _ring(opening.opening),
                "floor_mm": _ring(opening.floor),
                "area_mm2": _figure(opening.area),
                "floor_area_mm2": _figure(opening.floor_area),
                "open_to_edge": opening.open_to_edge,
                "layers": [
                    {"role": layer.role, "top_mm": _ring(layer.top), "bottom_mm": _ring(layer.bottom)}
                    for layer in opening.layers
                ],
            }
            for opening in plan.openings
        ],
        "cut_layers": list(plan.cut_layers),
        "clearance_advice": {
            "cut_layers": None if advised is None else list(advised),
            "because": plan.clearance_advice.because,
        },
        "reasons": list(plan.reasons),
        "checks": [
            {
                "id": check.id,
                "severity": check.severity,
                "passed": check.passed,
                "value": _value(check.value),
                "limit": _value(check.limit),
                "message": check.message,
            }
            for check in plan.checks
        ],
        "pressure": None if plan.pressure is None else pressure_json(plan.pressure),
        "alternatives": [
            {
                "cut_layers": list(other.cut_layers),
                "margin_mm": _figure(other.margin),
                "distal_margin_mm": _figure(other.distal_margin),
                "bevel_deg": _figure(other.bevel),
                "area_mm2": _figure(other.area),
                "peak_after_kpa": _figure(other.peak_after),
                "rim_peak_after_kpa": _figure(other.rim_peak_after),
                "relieves_more_chance": _figure(other.relieves_more_chance),
                "passed": other.passed,
            }
            for other in plan.alternatives
        ],
        **gains_json(plan.gains, plan.spec.stack),
        "notice": plan.notice,
        "core_version": plan.core_version,
    }


def pressure_json(report: PressureReport) -> dict[str, Any]:
    """The pressures alone, as `as_json` has them."""
    figures = ("load", "solved_load")
    peaks = [f"{where}_{what}_{when}" for where, what in PLACES for when in ("before", "after")]
    return {
        "baseline": report.baseline,
        "device": report.device,
        "device_factor": _interval(report.device_factor),
        **{f"{name}_n": _figure(getattr(report, name)) for name in figures},
        **{f"{name}_kpa": _figure(getattr(report, name)) for name in peaks},
        "lesions": [
            {
                "label": lesion.label,
                "load_case": lesion.load_case,
                "peak_before_kpa": _figure(lesion.peak_before),
                "peak_after_kpa": _figure(lesion.peak_after),
                "mean_before_kpa": _figure(lesion.mean_before),
                "mean_after_kpa": _figure(lesion.mean_after),
                "reduction_percent": _figure(lesion.reduction_percent),
                "bottomed_percent": _figure(lesion.bottomed_percent),
                "clearance_mm": _figure(lesion.clearance),
                "peak_after_range_kpa": [_figure(value) for value in lesion.peak_after_range],
                "patch_mean_before_kpa": _figure(lesion.patch_mean_before),
                "patch_mean_after_kpa": _figure(lesion.patch_mean_after),
                "patch_mean_after_80_kpa": _interval(lesion.patch_mean_after_80),
                "closes_chance": _figure(lesion.closes_chance),
            }
            for lesion in report.lesions
        ],
    }


def _ring(outline: Outline) -> list[list[float]]:
    return [[round(x, 4) + 0.0, round(y, 4) + 0.0] for x, y in outline.exterior]


def _figure(value: float | None) -> float | None:
    """Six decimals, minus zero as zero, and null for what is not a finite number."""
    return None if value is None or not math.isfinite(value) else round(float(value), 6) + 0.0


def _interval(values: tuple[float, ...] | None) -> list[float | None] | None:
    return None if values is None else [_figure(value) for value in values]


def _value(value: float | str | None) -> float | str | None:
    return value if isinstance(value, str) else _figure(value)
