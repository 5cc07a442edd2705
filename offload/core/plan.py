"""A whole relief plan: insole, openings, layers to cut, reasons, checks, pressure."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from . import CORE_VERSION, NOTICE
from .checks import Check
from .insole import Insole
from .relief import Opening
from .spec import ReliefSpec

__all__ = [
    "Alternative",
    "ClearanceAdvice",
    "LesionPressure",
    "PressureFindings",
    "PressureModel",
    "PressureReport",
    "ReliefPlan",
]


@dataclass(frozen=True)
class ClearanceAdvice:
    """The cut that mechanics would choose, beside the policy's; None where no cut helps or none was computed."""

    cut_layers: tuple[str, ...] | None
    because: str


@dataclass(frozen=True)
class LesionPressure:
    """Pressure at one lesion before and after the cut [kPa], bottoming out [%] and clearance [mm]."""

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


@dataclass(frozen=True)
class PressureReport:
    """Pressures of a plan; loads [N] and rim and elsewhere figures [kPa] are of the first lesion's load case."""

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


@dataclass(frozen=True)
class Alternative:
    """Another cut for the same lesions: lengths [mm], angle [deg], area [mm²], peaks [kPa]."""

    cut_layers: tuple[str, ...]
    margin: float
    distal_margin: float
    bevel: float
    area: float
    peak_after: float
    rim_peak_after: float
    passed: bool


@dataclass(frozen=True)
class PressureFindings:
    """All that a pressure model adds to a plan whose geometry is known."""

    report: PressureReport
    alternatives: tuple[Alternative, ...]
    clearance_advice: ClearanceAdvice
    reasons: tuple[str, ...] = ()
    checks: tuple[Check, ...] = ()


@dataclass(frozen=True)
class ReliefPlan:
    """A computed plan.

    Parameters
    ----------
    spec : ReliefSpec
        What it was computed from.
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
    checks : tuple of Check
    pressure : PressureReport or None
        None until a pressure model is run.
    alternatives : tuple of Alternative
    """

    spec: ReliefSpec
    insole: Insole
    openings: tuple[Opening, ...]
    cut_layers: tuple[str, ...]
    clearance_advice: ClearanceAdvice
    reasons: tuple[str, ...]
    checks: tuple[Check, ...]
    pressure: PressureReport | None = None
    alternatives: tuple[Alternative, ...] = ()
    notice: str = NOTICE
    core_version: str = CORE_VERSION

    @property
    def cut_indices(self) -> tuple[int, ...]:
        """Places of the cut layers in the stack, 0 = cover."""
        return tuple(i for i, layer in enumerate(self.spec.stack) if layer.role in self.cut_layers)

    @property
    def passed(self) -> bool:
        """Whether no check is flagged."""
        return all(check.passed for check in self.checks)


PressureModel = Callable[[ReliefPlan], PressureFindings]
