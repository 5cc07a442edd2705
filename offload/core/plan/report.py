"""Pressure under a plan: before and after the cut, at the lesions, at the rim and elsewhere."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np
import shapely
from numpy.typing import NDArray

from offload.core.foam.law import Foam, packaged_foams
from offload.core.plan.alternatives import alternatives_for
from offload.core.plan.chances import Chances
from offload.core.plan.checks import Check, Kind
from offload.core.plan.clearance import clearance_advice
from offload.core.plan.compute import ComputedPlan, PressureFindings
from offload.core.plan.inlay_gains import inlay_gains
from offload.core.plan.openings import Wall
from offload.core.plan.scene import LoadCase, Scene
from offload.core.plan.trial import Trial, Trials, try_openings
from offload.core.plan.void import Void
from offload.core.pressure.baseline import load_constants
from offload.core.pressure.foundation import TOLERANCE, Settled
from offload.core.pressure.patch import PATCH_MM2
from offload.core.shapes.insole import ZONES

__all__ = ["PressureField", "PressureModel", "PressurePicture", "ZonePressure"]

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

ELEMENTS = (
    "the ulcer's mean is at most 5 % or 2 kPa under theirs (8 % at 200 kPa) and at most 10 % or 3 kPa over, "
    "the edge's peak within 3 %, under round voids of 8 to 40 mm and strips of 16 to 50 mm at 10 to 200 kPa "
    "around them; under a cover alone over a void narrower than 14 mm it may be 5 kPa off either way."
)
"""What the estimate is off by, as measured by ``tests/oracles``; shown with every plan."""
CELLS_ACROSS, COARSE_ACROSS, PLAN_CELL_MM = 7, 8, 2.5
"""Cells across an opening at least; a narrower one is solved on cells half as large. Design choice from the
comparison with finite elements: under a cover alone a void of five cells reads up to 12 kPa high. Cells
larger than a plan's own are halved earlier, and always where more than one layer is cut (up to 6 % off
otherwise), so that a preview agrees with its plan within 3 %.
"""
COARSE_CELL_MM = 5.0
"""Cells on which joint draws are solved [mm], half as large under three across an opening."""


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
        Size of the square cells [mm], halved where an opening is narrow; 5 mm answers at once while a lesion
        is dragged.
    ranges, others, chances
        Whether to solve soft and stiff tissue too, advice and alternatives, and joint draws of the inputs
        (with others only); off while dragging.
    tolerance
        Largest residual left of the plan's own cut, relative to the peak pressure.

    Raises
    ------
    SpecError, FoamError, SolverError
        When the measured map, a foam or the load cannot be.
    """

    foams: Mapping[str, Foam] = field(default_factory=packaged_foams)
    cell_mm: float = 2.5
    ranges: bool = True
    others: bool = True
    chances: bool = True
    tolerance: float = TOLERANCE

    def __call__(self, plan: ComputedPlan) -> PressureFindings:
        """Findings of the contract."""
        return self.picture(plan).findings

    def picture(self, plan: ComputedPlan) -> PressurePicture:
        """Findings with the fields and zones for a screen."""
        spec = plan.spec
        scene = Scene(spec, plan.insole, self.foams, _cell_for(plan, self.cell_mm))
        wall = Wall(spec.margin, spec.distal_margin, spec.bevel, spec.margin_face)
        tissues = scene.other_tissues if self.ranges else ()
        own = try_openings(
            scene, plan.cut_layers, wall, plan.openings, tissues=tissues, tolerance=self.tolerance
        )
        advice, alternatives = plan.clearance_advice, plan.alternatives
        report, reasons, chances = own.report, _reasons(scene, own), None
        if self.others:
            tried = Trials(scene, own, plan.policy)
            advice = clearance_advice(tried)
            if self.chances:
                cell = COARSE_CELL_MM / 2 if _narrower(plan, 3 * COARSE_CELL_MM) else COARSE_CELL_MM
                coarse = Scene(spec, plan.insole, self.foams, cell)
                chances = Chances(coarse, scene, own)
                report = replace(report, lesions=chances.lesions(report.lesions))
                reasons += chances.reasons
            alternatives = alternatives_for(tried, _unchanged(plan), chances)
            if advice.cut_layers is not None and advice.cut_layers != plan.cut_layers:
                reasons.append(
                    f"This plan cuts {' and '.join(plan.cut_layers)}; mechanics would cut "
                    f"{' and '.join(advice.cut_layers)}. {advice.because}"
                )
        gains = inlay_gains(scene, own, self.foams, tissues, self.tolerance, chances) if self.ranges else ()
        return PressurePicture(
            PressureFindings(report, alternatives, advice, tuple(reasons), own.checks, gains),
            tuple(_field(scene.case(name), own.voids[name], own.states[name]) for name in scene.cases),
            tuple(zone for name in scene.cases for zone in _zones(scene, scene.case(name), own.states[name])),
        )


def _cell_for(plan: ComputedPlan, cell_mm: float) -> float:
    """Size of the cells [mm]: half as large where an opening is narrow."""
    if cell_mm > PLAN_CELL_MM and len(plan.cut_layers) > 1:
        return cell_mm / 2.0
    wanted = CELLS_ACROSS if cell_mm <= PLAN_CELL_MM else COARSE_ACROSS
    return cell_mm / 2.0 if _narrower(plan, wanted * cell_mm) else cell_mm


def _narrower(plan: ComputedPlan, wanted_mm: float) -> bool:
    """Whether a floor is narrower than that [mm]: no circle so wide has room in it."""
    for opening in plan.openings:
        floor = opening.floor.polygon
        left, low, right, high = floor.bounds
        if min(right - left, high - low) < wanted_mm:
            return True
        if 2.0 * shapely.maximum_inscribed_circle(floor).length < wanted_mm:
            return True
    return False


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
    sentences.append(f"Against finite elements of the demonstration stack: {ELEMENTS}")
    sentences.append(
        f"Cuts are ranked by the highest mean over {PATCH_MM2 / 100:g} cm², as an insole sensor would read; "
        f"a peak is that of one cell of {scene.cell:g} mm."
    )
    sentences.append(
        "Insole in a flat shoe; the device's own relief is not in these figures."
        if scene.spec.device is None
        else "The device's relief is a published average of its class, not measured in this patient's "
        "device. "
        "A walker's own insole may be in it already; a map or plan moved to another device is computed "
        "anew; it counts only while worn."
    )
    if scene.spec.device is not None and "heel_strike" in scene.cases:
        sentences.append(
            "No benefit of the device is claimed at the heel: published studies disagree in sign."
        )
    return sentences
