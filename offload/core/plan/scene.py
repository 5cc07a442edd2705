"""A foot on its insole: baseline, uncut foam and load cases, made once and pressed many times."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from offload.core.foam.field import LayerFoam
from offload.core.foam.law import Foam, Series
from offload.core.foam.stack import foams_named
from offload.core.plan.compute import LesionPressure
from offload.core.plan.openings import Opening
from offload.core.plan.spec import ReliefSpec
from offload.core.plan.void import (
    Footprint,
    Void,
    coverage,
    foams_of,
    footprint_of,
    local_foams,
    void_of,
)
from offload.core.pressure.baseline import Baseline, baseline_for, lattice_for, load_case_of, load_constants
from offload.core.pressure.foundation import TOLERANCE, Settled, Start
from offload.core.pressure.patch import Patches
from offload.core.shapes.insole import Insole
from offload.core.shapes.lesion import LesionSpec

__all__ = ["LoadCase", "Scene"]

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class LoadCase:
    """One load case on the uncut insole.

    Notes
    -----
    The uncut columns under the baseline pressure ``p0`` come to rest at ``u0``; a skeleton of profile
    ``u0 + p0 / k_t`` then presses exactly ``p0``, so that no cut changes nothing. Before the cut there are no
    inlays either.
    """

    baseline: Baseline
    columns: Series
    at_rest: Array

    @property
    def loaded(self) -> NDArray[np.bool_]:
        """Cells with load before the cut; contact does not grow beyond them."""
        return self.baseline.pressure_kpa > 0

    @property
    def support(self) -> NDArray[np.bool_]:
        """Cells on the insole."""
        return self.baseline.lattice.support

    def scaled(self, factor: float, moved_cells: tuple[int, int] = (0, 0)) -> LoadCase:
        """The case with its load multiplied, and its map moved by whole cells along x and y."""
        baseline = self.baseline
        across, along = moved_cells
        pressure = factor * np.roll(baseline.pressure_kpa, (along, across), axis=(0, 1))
        pressure = np.where(baseline.lattice.support, pressure, 0.0)
        load = baseline.lattice.load_of(pressure)
        at_rest = self.columns.compression(pressure)
        return LoadCase(replace(baseline, pressure_kpa=pressure, load=load), self.columns, at_rest)

    def press(
        self, void: Void, tissue_kpa_mm: float, start: Start | None = None, tolerance: float = TOLERANCE
    ) -> Settled:
        """Press the same foot with the same force and moments onto the cut foam."""
        profile = self.at_rest + self.baseline.pressure_kpa / tissue_kpa_mm
        return void.foundation.press(
            profile, self.loaded, tissue_kpa_mm, self.baseline.load, start or Start(self.at_rest), tolerance
        )


class Scene:
    """Everything about a plan that no cut changes.

    Parameters
    ----------
    spec, insole
        Of the plan.
    foams
        Foams by id.
    cell_mm
        Size of the square cells [mm].
    """

    def __init__(self, spec: ReliefSpec, insole: Insole, foams: Mapping[str, Foam], cell_mm: float) -> None:
        tissue = load_constants()["tissue"]["stiffness"]
        self.spec = spec
        self.insole = insole
        self.cell = cell_mm
        self.stack = spec.stack
        self.foams = foams_of(spec.stack, foams)
        self.all_foams = tuple(foams[name] for name in sorted(foams_named(spec.stack)))
        self._known = foams
        self._local: dict[str, tuple[LayerFoam, ...]] = {}
        self.tissue: float = tissue["value"]
        self.other_tissues: tuple[float, float] = (
            tissue["value"] * tissue["low_factor"],
            tissue["value"] * tissue["high_factor"],
        )
        self._measured = spec.pressure_map
        self._lattice = lattice_for(insole, cell_mm, spec.pressure_map)
        self._cases: dict[str, LoadCase] = {}
        self._footprints: dict[tuple[object, ...], Footprint] = {}
        self._cover: dict[tuple[str, str], Array] = {}
        self._patches: dict[tuple[str, str], Patches] = {}
        self.case_names = tuple(load_case_of(insole, lesion) for lesion in spec.lesions)

    @property
    def cases(self) -> tuple[str, ...]:
        """The load cases that occur, in the order of the lesions."""
        return tuple(dict.fromkeys(self.case_names))

    def case(self, name: str) -> LoadCase:
        """One load case, made when it is first asked for."""
        if name not in self._cases:
            spec = self.spec
            baseline = baseline_for(
                self.insole, spec.body_weight, name, self._lattice, self._measured, spec.device
            )
            columns = Series(np.array([layer.thickness for layer in self.stack])[:, None, None], self.foams)
            at_rest = columns.compression(baseline.pressure_kpa)
            self._cases[name] = LoadCase(baseline, columns, at_rest)
        return self._cases[name]

    def void(
        self, name: str, openings: Sequence[Opening], bevel_deg: float, before: Array | None = None
    ) -> Void:
        """Openings on the cells of one load case, cut under its pressure or another one [kPa]."""
        lattice = self.case(name).baseline.lattice
        cut = [layer.index for layer in openings[0].layers] if openings else []
        depth = sum(self.stack[index].thickness for index in cut)
        # Cuts of equal depth in different layers share their footprint.
        key = (name, bevel_deg, depth, tuple((opening.opening, opening.floor) for opening in openings))
        if key not in self._footprints:
            self._footprints[key] = footprint_of(openings, bevel_deg, depth, lattice)
        case = self.case(name)
        if before is None:
            before = case.baseline.pressure_kpa
        local = self.local_foams(name)
        return void_of(
            self._footprints[key], cut, self.stack, self.foams, lattice, before, self.tissue, local
        )

    def local_foams(self, name: str) -> tuple[LayerFoam, ...]:
        """The foam of each layer on the cells of a load case, inlays let in."""
        if name not in self._local:
            self._local[name] = local_foams(self.stack, self._known, self.case(name).baseline.lattice)
        return self._local[name]

    def coverage(self, lesion: LesionSpec, name: str) -> Array:
        """Share of each cell of a load case that a lesion covers."""
        key = (lesion.label, name)
        if key not in self._cover:
            self._cover[key] = coverage(lesion.outline, self.case(name).baseline.lattice)
        return self._cover[key]

    def patches(self, lesion: LesionSpec, name: str) -> Patches:
        """Sensor-sized patches in a lesion on the cells of a load case."""
        key = (lesion.label, name)
        if key not in self._patches:
            self._patches[key] = Patches(lesion.outline, self.case(name).baseline.lattice)
        return self._patches[key]

    def lesion_pressure(
        self, lesion: LesionSpec, name: str, void: Void, central: Settled, others: Sequence[Settled] = ()
    ) -> LesionPressure:
        """Figures at one lesion: means weigh cells by their cover, peaks are of cells covered by half or
        more.
        """
        share = self.coverage(lesion, name)
        cells = share >= min(0.5, float(share.max()))
        weight = share / share.sum()
        before = self.case(name).baseline.pressure_kpa
        peak_before, peak_after = float(before[cells].max()), float(central.pressure_kpa[cells].max())
        left = void.depth_mm - central.roof[0]
        patches = self.patches(lesion, name)
        peaks = [peak_after, *(float(other.pressure_kpa[cells].max()) for other in others)]
        return LesionPressure(
            label=lesion.label,
            load_case=name,
            peak_before=peak_before,
            peak_after=peak_after,
            mean_before=float((before * weight).sum()),
            mean_after=float((central.pressure_kpa * weight).sum()),
            reduction_percent=100.0 * (1.0 - peak_after / peak_before) if peak_before > 0 else None,
            bottomed_percent=min(100.0, 100.0 * float(weight[central.lower_kpa > 0].sum())),
            clearance=max(0.0, float(left[cells].min())),
            peak_after_range=(min(peaks), max(peaks)),
            patch_mean_before=patches.highest(before),
            patch_mean_after=patches.highest(central.pressure_kpa),
        )
