"""One cut tried on a scene: solved, reported and checked."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import shapely

from offload.core.errors import ImpossibleRelief, OutlineError
from offload.core.foam.stack import Layer
from offload.core.plan.checks import Check, Kind, geometry_checks
from offload.core.plan.compute import LesionPressure, PressureReport
from offload.core.plan.inlay_checks import inlay_checks
from offload.core.plan.openings import Opening, Wall, cut_openings
from offload.core.plan.policy import Policy
from offload.core.plan.scene import Scene
from offload.core.plan.void import Void
from offload.core.pressure.foundation import TOLERANCE, Settled, Start
from offload.core.pressure.limits import pressure_limits
from offload.core.shapes.lesion import LesionSpec
from offload.core.shapes.outline import Outline

__all__ = ["RIM_MM", "Trial", "Trials", "pressure_checks", "try_openings"]

RIM_MM = 10.0
"""How far the rim reaches outside the opening."""
PLAIN_MM = 0.01
ARC_STEPS = 16
"""Steps of a quarter circle in cuts that are only compared: areas 0.01 % small."""
RANKING = 0.14
"""Residual left in cuts that are only compared; a test holds their peaks within 1 kPa of those at rest."""
ADVISING = 1e-3
"""The same in cuts with the plan's own wall: advice may turn on half a percent of what they leave."""


@dataclass(frozen=True, slots=True)
class Trial:
    """A cut and what it does, at central tissue stiffness.

    Attributes
    ----------
    cut_layers, wall, openings
        The cut.
    voids, states
        Void and equilibrium of each load case.
    report
        Pressures; the ranges of the lesions span the other tissues where those were solved.
    checks
        Checks that need pressure.
    volume
        Foam taken out [mm³].
    """

    cut_layers: tuple[str, ...]
    wall: Wall
    openings: tuple[Opening, ...]
    voids: Mapping[str, Void]
    states: Mapping[str, Settled]
    report: PressureReport
    checks: tuple[Check, ...]
    volume: float

    @property
    def area(self) -> float:
        """Area of the openings at the foot-facing side [mm²]."""
        return sum(opening.area for opening in self.openings)

    @property
    def worst_peak(self) -> float:
        """Peak at the worst lesion [kPa]."""
        return max(lesion.peak_after for lesion in self.report.lesions)

    @property
    def worst_patch(self) -> float:
        """Highest mean over a sensor-sized patch at the worst lesion [kPa]: what cuts are ranked by."""
        return max(_after(lesion) for lesion in self.report.lesions)

    @property
    def worst_fall(self) -> float:
        """Share by which the patch mean over all lesions falls [-]."""
        before = max(_before(lesion) for lesion in self.report.lesions)
        return 1.0 - self.worst_patch / before if before > 0 else 0.0

    @property
    def least_fall(self) -> float:
        """Share by which the patch mean falls at the lesion it falls least at [-]; unloaded lesions do
        not count.
        """
        return min(
            (1.0 - _after(item) / _before(item) for item in self.report.lesions if _before(item) > 0),
            default=0.0,
        )


def _before(lesion: LesionPressure) -> float:
    return lesion.mean_before if lesion.patch_mean_before is None else lesion.patch_mean_before


def _after(lesion: LesionPressure) -> float:
    return lesion.mean_after if lesion.patch_mean_after is None else lesion.patch_mean_after


class Trials:
    """Cuts tried on one scene, each solved once.

    Parameters
    ----------
    scene
        Foot and insole.
    plan
        The plan's own cut, solved.
    policy
        House rules for the geometry of other cuts.
    """

    def __init__(self, scene: Scene, plan: Trial, policy: Policy) -> None:
        self.scene = scene
        self.plan = plan
        self.policy = policy
        self._known: dict[tuple[tuple[str, ...], Wall], Trial | None] = {(plan.cut_layers, plan.wall): plan}
        own = tuple(scene.stack[place].thickness for place in _places(scene.stack, plan.cut_layers))
        self._shapes: dict[tuple[tuple[float, ...], Wall], tuple[Opening, ...] | None] = {
            (own, plan.wall): plan.openings
        }
        self._lesions = tuple(
            LesionSpec(lesion.label, _plainer(lesion.outline)) for lesion in scene.spec.lesions
        )
        self._insole = _plainer(scene.insole.outline)

    def cut(self, cut_layers: tuple[str, ...], wall: Wall) -> Trial | None:
        """A cut with a wall, solved from the last one with the same layers; None where its geometry is
        impossible.
        """
        key = (cut_layers, wall)
        if key not in self._known:
            openings = self._openings(cut_layers, wall)
            near = self._nearest(cut_layers, wall)
            rest = ADVISING if wall == self.plan.wall else RANKING
            self._known[key] = (
                try_openings(self.scene, cut_layers, wall, openings, near, tolerance=rest)
                if openings
                else None
            )
        return self._known[key]

    def _openings(self, cut_layers: tuple[str, ...], wall: Wall) -> tuple[Opening, ...] | None:
        """Openings of a cut; layers of equal thickness are cut alike, so only their place in the stack
        differs.
        """
        stack = self.scene.stack
        places = _places(stack, cut_layers)
        key = (tuple(stack[place].thickness for place in places), wall)
        if key not in self._shapes:
            try:
                cutting = cut_openings(
                    self._lesions, self._insole, stack, cut_layers, wall, self.policy, ARC_STEPS
                )
                self._shapes[key] = cutting.openings
            except (ImpossibleRelief, OutlineError):
                self._shapes[key] = None
        openings = self._shapes[key]
        if openings is None:
            return None
        return tuple(
            replace(
                opening,
                layers=tuple(
                    replace(layer, index=place, role=stack[place].role)
                    for place, layer in zip(places, opening.layers, strict=True)
                ),
            )
            for opening in openings
        )

    def _nearest(self, cut_layers: tuple[str, ...], wall: Wall) -> Trial:
        """The solved trial with the same layers whose wall is most alike; the plan where there is none."""

        def apart(other: Wall) -> float:
            slope = abs(math.cos(math.radians(other.bevel)) - math.cos(math.radians(wall.bevel)))
            return (
                abs(other.margin - wall.margin)
                + abs(other.distal_margin - wall.distal_margin) / 2
                + 10.0 * slope
            )

        alike = [trial for (cut, _), trial in self._known.items() if cut == cut_layers and trial is not None]
        return min(alike, key=lambda trial: apart(trial.wall), default=self.plan)

    def geometry_checks(self, trial: Trial) -> tuple[Check, ...]:
        """Checks of a trial's geometry."""
        insole, stack = self.scene.insole, self.scene.stack
        return (
            *geometry_checks(trial.openings, self._lesions, insole, stack, self.policy),
            *inlay_checks(trial.openings, self._lesions, insole, stack),
        )


def _places(stack: Sequence[Layer], cut_layers: tuple[str, ...]) -> list[int]:
    return [place for place, layer in enumerate(stack) if layer.role in cut_layers]


def _plainer(outline: Outline) -> Outline:
    """The outline with fewer corners, nowhere further than 0.01 mm from it: other cuts are only compared."""
    return Outline.of_polygon(shapely.simplify(outline.polygon, PLAIN_MM), outline.name)


def try_openings(
    scene: Scene,
    cut_layers: tuple[str, ...],
    wall: Wall,
    openings: tuple[Opening, ...],
    near: Trial | None = None,
    tissues: Sequence[float] = (),
    tolerance: float = TOLERANCE,
) -> Trial:
    """Solve a cut in every load case of the scene.

    Parameters
    ----------
    scene, cut_layers, wall, openings
        What is cut where.
    near
        A neighbouring cut to start from.
    tissues
        Further tissue stiffnesses [kPa/mm] for the range of the lesions' peaks.
    tolerance
        Largest residual left, relative to the peak pressure.
    """
    voids, states, others = {}, {}, {}
    for name in scene.cases:
        case = scene.case(name)
        void = scene.void(name, openings, wall.bevel)
        start = None
        if near is not None:
            start = near.states[name].as_start()
            if near.cut_layers != cut_layers:
                start = Start(
                    case.at_rest, start.motion
                )  # under other layers only the skeleton's place is alike
        state = case.press(void, scene.tissue, start, tolerance)
        voids[name], states[name] = void, state
        others[name] = [case.press(void, tissue, state.as_start()) for tissue in tissues]
    report = _report(scene, voids, states, others)
    volume = max(void.volume for void in voids.values())
    return Trial(
        cut_layers,
        wall,
        openings,
        voids,
        states,
        report,
        pressure_checks(report, _strains(scene, voids, states)),
        volume,
    )


def pressure_checks(report: PressureReport, strains: Sequence[tuple[str, float]]) -> tuple[Check, ...]:
    """Checks that need pressure: layer strain, clearance, bottoming out, peak elsewhere.

    Parameters
    ----------
    report
        Pressures of the plan.
    strains
        Role and largest compressive strain of each layer after the cut.

    Notes
    -----
    ``passed`` means *not flagged*. A flag says where to look first; none says that a foot is safe.
    """
    limits = pressure_limits()
    good, warn = limits.layer_strain_good, limits.layer_strain_warn
    least, peak = limits.clearance, limits.peak_elsewhere
    role, strain = max(strains, key=lambda item: item[1])
    tight = min(report.lesions, key=lambda lesion: lesion.clearance)
    closed = max(report.lesions, key=lambda lesion: lesion.bottomed_percent)
    return (
        _check(
            "layer_strain",
            "error" if strain > warn else "warn",
            strain <= good,
            strain,
            good,
            f"the {role} is compressed by {_percent(strain)} where it is loaded most; up to {_percent(good)} "
            "is good, "
            f"over {_percent(warn)} it bottoms out.",
        ),
        _check(
            "clearance",
            "warn",
            tight.clearance >= least,
            tight.clearance,
            least,
            f"the space under ulcer {tight.label} keeps {tight.clearance:.1f} mm open; {least:g} mm or more "
            "is wanted.",
        ),
        _check(
            "bottoming_out",
            "warn",
            closed.bottomed_percent <= 0.0,
            closed.bottomed_percent,
            0.0,
            f"the space under the ulcer is closed under {closed.bottomed_percent:.0f} % of ulcer "
            f"{closed.label}.",
        ),
        _check(
            "peak_elsewhere",
            "warn",
            report.elsewhere_peak_after <= peak,
            report.elsewhere_peak_after,
            peak,
            f"outside the opening the estimate peaks at {report.elsewhere_peak_after:.0f} kPa, before the "
            "cut at "
            f"{report.elsewhere_peak_before:.0f} kPa; regions over {peak:g} kPa, a figure of footwear, "
            "are looked at.",
        ),
    )


def _check(id: str, severity: str, passed: bool, value: float, limit: float, sentence: str) -> Check:
    message = f"{'Not flagged' if passed else 'Flagged'}: {sentence}"
    return Check(id, severity, passed, value, limit, message, Kind.ESTIMATE)


def _report(
    scene: Scene,
    voids: Mapping[str, Void],
    states: Mapping[str, Settled],
    others: Mapping[str, Sequence[Settled]],
) -> PressureReport:
    first = scene.case_names[0]
    case, void, state = scene.case(first), voids[first], states[first]
    before, after = case.baseline.pressure_kpa, state.pressure_kpa
    elsewhere = (void.outside_mm > 0) & case.loaded
    rim = elsewhere & (void.outside_mm <= RIM_MM)
    return PressureReport(
        baseline=case.baseline.kind,
        load=case.baseline.load.force_n,
        solved_load=state.load.force_n,
        rim_peak_before=float(before.max(where=rim, initial=0.0)),
        rim_peak_after=float(after.max(where=rim, initial=0.0)),
        elsewhere_peak_before=float(before.max(where=elsewhere, initial=0.0)),
        elsewhere_peak_after=float(after.max(where=elsewhere, initial=0.0)),
        elsewhere_mean_before=float(before[elsewhere].mean()) if elsewhere.any() else 0.0,
        elsewhere_mean_after=float(after[elsewhere].mean()) if elsewhere.any() else 0.0,
        lesions=tuple(
            scene.lesion_pressure(lesion, name, voids[name], states[name], others[name])
            for lesion, name in zip(scene.spec.lesions, scene.case_names, strict=True)
        ),
        device=scene.spec.device,
        device_factor=_factor_of(scene, first),
    )


def _factor_of(scene: Scene, case: str) -> tuple[float, float, float] | None:
    factor = scene.case(case).baseline.device_factor
    given = scene.spec.pressure_map
    if scene.spec.device is None and (given is None or given.taken != "barefoot"):
        return None
    return factor.central, factor.low, factor.high


def _strains(
    scene: Scene, voids: Mapping[str, Void], states: Mapping[str, Settled]
) -> list[tuple[str, float]]:
    """Largest strain of each layer over the cases, where a tenth of the layer or more is left."""
    found = []
    spans = [void.foundation.plate for void in voids.values()]
    first = max((len(plate.layers) for plate in spans if plate is not None), default=len(scene.stack))
    for index, layer in enumerate(scene.stack):
        peaks = [
            float(
                scene.local_foams(name)[index]
                .strain(states[name].foam_kpa if index < first else states[name].lower_kpa)
                .max(where=void.left_mm[index] > 0.1 * layer.thickness, initial=0.0)
            )
            for name, void in voids.items()
        ]
        found.append((layer.role, max(peaks)))
    return found


def _percent(share: float) -> str:
    return f"{100 * share:.0f} %"
