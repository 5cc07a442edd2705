"""Pressure under a plan: before and after the cut, at the lesions, at the rim and elsewhere."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from offload.core.foam.law import Foam, packaged_foams
from offload.core.plan.alternatives import alternatives_for
from offload.core.plan.checks import Check, Kind
from offload.core.plan.clearance import clearance_advice
from offload.core.plan.compute import ComputedPlan, PressureFindings
from offload.core.plan.openings import Wall
from offload.core.plan.scene import LoadCase, Scene
from offload.core.plan.trial import Trial, Trials, try_openings
from offload.core.plan.void import Void
from offload.core.pressure.baseline import load_constants
from offload.core.pressure.foundation import Settled
from offload.core.shapes.insole import ZONES

__all__ = ["PressureField", "PressureModel", "PressurePicture", "ZonePressure"]

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

ELEMENTS = (
    "the lesion's mean is 2 to 8 % under theirs at 59 kPa around it, 5 to 12 % at 120 kPa, 13 % at 200 kPa "
    "with a void 16 mm "
    "wide and 5 to 8 % with one of 24 to 50 mm; under a middle cut it is within 5 %, the rim within 4 %."
)
"""What the estimate is off by, as measured by ``tests/oracles``; shown with every plan that cuts the base."""


@dataclass(frozen=True, slots=True)
class PressureField:
    """Pressure of one load case on the cells, at central tissue stiffness; arrays have shape ``(ny, nx)``.

    Attributes
    ----------
    case : str
        ``push_off``, ``heel_strike`` or ``mid_stance``.
    x, y : ndarray
        Cell centres [mm].
    foam : ndarray of bool
        Cells on the insole.
    before_kpa, after_kpa : ndarray
        Pressure between foot and insole [kPa].
    void_mm, void_left_mm : ndarray
        Depth cut out, and what of it stays open [mm].
    descent_mm : ndarray
        Descent of the cover's upper face after the cut [mm].
    """

    case: str
    x: Array
    y: Array
    foam: Mask
    before_kpa: Array
    after_kpa: Array
    void_mm: Array
    void_left_mm: Array
    descent_mm: Array


@dataclass(frozen=True, slots=True)
class ZonePressure:
    """Peak and mean over the loaded cells of one zone in one load case [kPa]."""

    zone: str
    case: str
    peak_before: float
    peak_after: float
    mean_before: float
    mean_after: float


@dataclass(frozen=True, slots=True)
class PressurePicture:
    """What the contract asks for, and the fields and zones that a screen draws beside it."""

    findings: PressureFindings
    fields: tuple[PressureField, ...]
    zones: tuple[ZonePressure, ...]


@dataclass(frozen=True)
class PressureModel:
    """Adds pressure, clearance advice and alternatives to a plan whose geometry is known.

    Parameters
    ----------
    foams
        Foams by id; a clinic's own beside the packaged ones.
    cell_mm
        Size of the square cells [mm]; 5 mm answers at once while a lesion is dragged.
    ranges, others
        Whether to solve soft and stiff tissue too, and advice and alternatives; off while dragging.

    Raises
    ------
    SpecError, FoamError, SolverError
        When the measured map, a foam or the load cannot be.
    """

    foams: Mapping[str, Foam] = field(default_factory=packaged_foams)
    cell_mm: float = 2.5
    ranges: bool = True
    others: bool = True

    def __call__(self, plan: ComputedPlan) -> PressureFindings:
        """Findings of the contract."""
        return self.picture(plan).findings

    def picture(self, plan: ComputedPlan) -> PressurePicture:
        """Findings with the fields and zones for a screen."""
        spec = plan.spec
        scene = Scene(spec, plan.insole, self.foams, self.cell_mm)
        wall = Wall(spec.margin, spec.distal_margin, spec.bevel, spec.margin_face)
        tissues = scene.other_tissues if self.ranges else ()
        own = try_openings(scene, plan.cut_layers, wall, plan.openings, tissues=tissues)
        advice, alternatives = plan.clearance_advice, plan.alternatives
        reasons = _reasons(scene, own)
        if self.others:
            tried = Trials(scene, own, plan.policy)
            advice = clearance_advice(tried)
            alternatives = alternatives_for(tried, _unchanged(plan))
            if advice.cut_layers is not None and advice.cut_layers != plan.cut_layers:
                reasons.append(
                    f"This plan cuts {' and '.join(plan.cut_layers)}; mechanics would cut "
                    f"{' and '.join(advice.cut_layers)}. {advice.because}"
                )
        return PressurePicture(
            PressureFindings(own.report, alternatives, advice, tuple(reasons), own.checks),
            tuple(_field(scene.case(name), own.voids[name], own.states[name]) for name in scene.cases),
            tuple(zone for name in scene.cases for zone in _zones(scene, scene.case(name), own.states[name])),
        )


def _unchanged(plan: ComputedPlan) -> tuple[Check, ...]:
    """Checks of the plan that no other cut changes: those of the record."""
    return tuple(check for check in plan.checks if check.kind is Kind.RECORD)


def _field(case: LoadCase, void: Void, state: Settled) -> PressureField:
    lattice = case.baseline.lattice
    return PressureField(
        case=case.baseline.case,
        x=lattice.x,
        y=lattice.y,
        foam=lattice.support,
        before_kpa=case.baseline.pressure_kpa,
        after_kpa=state.pressure_kpa,
        void_mm=void.depth_mm,
        void_left_mm=np.maximum(void.depth_mm - state.roof[0], 0.0) * (void.depth_mm > 0),
        descent_mm=state.displacement,
    )


def _zones(scene: Scene, case: LoadCase, state: Settled) -> list[ZonePressure]:
    baseline = case.baseline
    at = np.array([scene.insole.zone_of(float(y)) for y in baseline.lattice.y])
    found = []
    for zone in ZONES:
        cells = (at == zone)[:, None] & case.loaded
        if cells.any():
            before, after = baseline.pressure_kpa[cells], state.pressure_kpa[cells]
            found.append(
                ZonePressure(
                    zone,
                    baseline.case,
                    float(before.max()),
                    float(after.max()),
                    float(before.mean()),
                    float(after.mean()),
                )
            )
    return found


def _reasons(scene: Scene, own: Trial) -> list[str]:
    sentences: list[str] = []
    for name in scene.cases:
        sentences += [note for note in scene.case(name).baseline.notes if note not in sentences]
    if own.report.baseline == "reference":
        sentences.insert(
            0,
            "Pressure before the cut: the open reference map, a group average of 104 people walking barefoot "
            "(kPa and a 5 mm pitch are assumed), not this foot.",
        )
    else:
        sentences.insert(0, "Pressure before the cut: the measured map.")
    published = load_constants()["published_relief"]
    sentences.append(
        f"Measured relief of cut-outs in print is {published['low_percent']} to {published['high_percent']} "
        "% "
        f"({published['source']}); a model of rigid walls and flat foam tends to promise more."
    )
    if "base" in own.cut_layers:
        sentences.append(
            "Against plane-strain finite elements of the demonstration stack a base cut errs to the hopeful "
            "side: "
            f"{ELEMENTS}"
        )
    sentences.append("Insole in a flat shoe; the device's own relief is not in these figures.")
    return sentences
