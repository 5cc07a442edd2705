"""Foam: one layer's law, layers in series, and foams fitted to a clinic's own measurements."""

from __future__ import annotations

import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from offload.core.errors import ReliefError

__all__ = [
    "Foam",
    "FoamError",
    "FoamFit",
    "FoamPoint",
    "Series",
    "fit_foam",
    "packaged_foams",
    "remaining_thickness",
]

Array = NDArray[np.float64]

STRESS_CEILING_KPA = 5000.0
"""Above this stress the law runs on along its tangent; far beyond any pressure under a foot."""


class FoamError(ReliefError):
    """A foam or a measured point that no foam can have."""


@dataclass(frozen=True, slots=True)
class FoamPoint:
    """One measured point of a compression test: engineering strain [-] and stress [kPa]."""

    strain: float
    stress_kpa: float


@dataclass(frozen=True, slots=True)
class Foam:
    """A foam known by its initial modulus and its locking strain.

    Notes
    -----
    ``stress = E * strain / (1 - strain / locking_strain)``: straight at first, stiffening without limit as
    the strain nears the locking strain. The form is this project's own choice; it has the shape of Rusch's
    law for flexible foams, needs two numbers and can be inverted by hand.
    Foams in compression have a Poisson ratio near zero, so the shear modulus is ``E / 2``.
    """

    id: str
    label: str
    modulus_kpa: float
    locking_strain: float
    valid_strain: float
    status: str
    source: str
    misfit_kpa: float | None = None
    points: tuple[FoamPoint, ...] = ()

    def __post_init__(self) -> None:
        if not (np.isfinite(self.modulus_kpa) and self.modulus_kpa > 0):
            raise FoamError(f"modulus_kpa of foam {self.id} is {self.modulus_kpa:g}; it must be above 0 kPa.")
        if not 0 < self.locking_strain <= 1:
            raise FoamError(
                f"locking_strain of foam {self.id} is {self.locking_strain:g}; it must lie above 0 and not "
                "above 1."
            )
        if not 0 < self.valid_strain < self.locking_strain:
            raise FoamError(
                f"valid_strain of foam {self.id} is {self.valid_strain:g}; "
                f"it must lie between 0 and the locking strain {self.locking_strain:g}."
            )

    def stress(self, strain: ArrayLike) -> Array:
        """Stress [kPa] at a compressive strain below the locking strain.

        Raises
        ------
        FoamError
            When a strain is negative, or reaches the locking strain.
        """
        values = np.asarray(strain, dtype=float)
        if np.any(~(values >= 0)) or np.any(values >= self.locking_strain):
            worst = values.max(initial=0.0)
            raise FoamError(
                f"strain of foam {self.id} is {worst:g}; it must lie between 0 and {self.locking_strain:g}."
            )
        return self.modulus_kpa * values / (1.0 - values / self.locking_strain)

    def strain(self, stress_kpa: ArrayLike) -> Array:
        """Compressive strain [-] under a stress [kPa]: ``stress / (E + stress / locking_strain)``."""
        values = np.maximum(np.asarray(stress_kpa, dtype=float), 0.0)
        return values / (self.modulus_kpa + values / self.locking_strain)

    @property
    def valid_stress_kpa(self) -> float:
        """Stress [kPa] at the end of the strain range in which the law may be read."""
        return float(self.stress(self.valid_strain))

    def shear_modulus_at(self, stress_kpa: ArrayLike) -> Array:
        """Shear modulus [kPa] under a pressure, at a Poisson ratio of zero.

        Notes
        -----
        Foam is taken to be the same in all directions, its energy the sum of the law's over the principal
        strains. A little shear of foam compressed across then meets half the secant modulus, ``(E + stress /
        locking_strain) / 2``.
        """
        return (self.modulus_kpa + np.asarray(stress_kpa, dtype=float) / self.locking_strain) / 2.0

    def softness_at(self, stress_kpa: ArrayLike) -> Array:
        """Change of strain with stress [1/kPa] under a pressure: ``E / (E + stress / locking_strain)^2``."""
        return np.asarray(
            self.modulus_kpa
            / (self.modulus_kpa + np.asarray(stress_kpa, dtype=float) / self.locking_strain) ** 2
        )


class Series:
    """Layers one upon another under the same pressure, for many columns at once.

    Parameters
    ----------
    thickness_mm
        Thickness of each layer [mm], shape ``(layers, ...)``; the trailing axes are the columns.
    foams
        One foam for each layer, uppermost first: a `Foam`, or a `FoamField` over the columns.

    Notes
    -----
    Compression of a column: ``w(p) = sum t_i p / (E_i + p / e_i) = sum a_i p / (1 + b_i p)`` with
    ``a_i = t_i / E_i`` and ``b_i = 1 / (E_i e_i)``. ``w`` rises and is concave, so it has one inverse.
    """

    def __init__(self, thickness_mm: ArrayLike, foams: Sequence[Any]) -> None:
        thickness = np.asarray(thickness_mm, dtype=float)
        if thickness.shape[0] != len(foams):
            raise FoamError(f"thickness_mm has {thickness.shape[0]} layers; there are {len(foams)} foams.")
        if not np.all(np.isfinite(thickness)) or np.any(thickness < 0):
            raise FoamError(f"thickness_mm is {np.min(thickness):g} mm somewhere; it must be 0 mm or more.")
        tail = (1,) * (thickness.ndim - 1)
        modulus, locking = (
            one.reshape(-1, *tail) if one.ndim == 1 else one
            for name in ("modulus_kpa", "locking_strain")
            for one in [np.stack(np.broadcast_arrays(*(getattr(foam, name) for foam in foams)))]
        )
        self._set(thickness / modulus, 1.0 / (modulus * locking))

    @classmethod
    def linear(cls, compliance_mm_per_kpa: ArrayLike) -> Series:
        """Columns of linear springs of one compliance [mm/kPa] each: the limit of an infinite locking
        strain.
        """
        self = cls.__new__(cls)
        compliance = np.asarray(compliance_mm_per_kpa, dtype=float)
        self._set(compliance[None, ...], np.zeros((1,) + (1,) * compliance.ndim))
        return self

    @classmethod
    def joined(
        cls,
        parts: Sequence[tuple[Series, NDArray[np.bool_]]],
        spring_mm_per_kpa: float = 0.0,
        by_place: bool = False,
    ) -> Series:
        """The chosen columns of several series in one row, each perhaps in series with a linear spring
        [mm/kPa].

        A series may be of all cells, of the chosen ones only, or of one column that stands for all. Part
        after part, or with ``by_place`` in the order of the cells; the parts must not share cells then.
        """
        spring = spring_mm_per_kpa > 0
        layers = max(series._a.shape[0] for series, _ in parts)
        sizes = np.cumsum([0, *(int(cells.sum()) for _, cells in parts)])
        rows = np.zeros((2, layers + spring, sizes[-1]))
        for (series, cells), start, end in zip(parts, sizes, sizes[1:], strict=False):
            for row, values in zip(rows, (series._a, series._b), strict=True):
                own = values.shape[1:] if len(values.shape) > 1 else ()
                if series.shape != (end - start,) and own != (1,) * len(own):
                    values = np.broadcast_to(values, (values.shape[0], *cells.shape))[:, cells]
                row[: values.shape[0], start:end] = values.reshape(values.shape[0], -1)
        if spring:
            rows[0, -1] = spring_mm_per_kpa
        if by_place:
            rows = rows[:, :, np.argsort(np.concatenate([np.flatnonzero(cells) for _, cells in parts]))]
        self = cls.__new__(cls)
        self._set(rows[0], rows[1])
        return self

    def _set(self, compliance: Array, inverse: Array) -> None:
        self._a = compliance
        self._b = inverse
        self._compliance = compliance.sum(axis=0)
        if np.any(self._compliance <= 0):
            raise FoamError("thickness_mm of a whole column is 0 mm; at least one layer must be left.")
        with np.errstate(divide="ignore"):
            endless = np.where(compliance > 0, np.inf, 0.0)
            self._travel = np.where(inverse > 0, compliance / np.maximum(inverse, 1e-300), endless).sum(
                axis=0
            )
        reach = 1.0 / (1.0 + inverse * STRESS_CEILING_KPA)
        self._ceiling = (compliance * reach).sum(axis=0) * STRESS_CEILING_KPA

    @property
    def shape(self) -> tuple[int, ...]:
        """Shape of the columns."""
        return self._compliance.shape

    @property
    def stiffness(self) -> Array:
        """Initial stiffness of each column [kPa/mm]."""
        return 1.0 / self._compliance

    def compression(self, stress_kpa: ArrayLike) -> Array:
        """Compression of each column [mm] under a pressure [kPa]."""
        stress = np.asarray(stress_kpa, dtype=float)
        return (self._a / (1.0 + self._b * stress)).sum(axis=0) * stress

    def _tangent(self, stress: Array) -> Array:
        return (self._a / (1.0 + self._b * stress) ** 2).sum(axis=0)

    def pressure(self, compression_mm: ArrayLike, guess_kpa: Array | None = None) -> tuple[Array, Array]:
        """Pressure [kPa] and tangent stiffness [kPa/mm] of each column at a compression [mm].

        A column that is not compressed carries nothing. ``guess_kpa`` may hold a nearby answer.

        Notes
        -----
        Newton's method on ``w``. With ``1/w`` as a function of ``1/p`` a single layer is exactly straight, so
        that step is tried first; where it would leave the range the plain step is taken, which runs up to the
        answer from below because ``w`` is concave. All layers lumped into one give a start below the answer.
        """
        asked = np.asarray(compression_mm, dtype=float)
        s = np.maximum(asked, 0.0)
        inside = np.minimum(s, self._ceiling)
        target = np.maximum(inside, 1e-12)
        start = target / (self._compliance * (1.0 - np.minimum(target / self._travel, 1.0 - 1e-9)))
        stress = start if guess_kpa is None else np.where(guess_kpa > start, guess_kpa, start)
        tangent = self._compliance
        for _ in range(60):
            reach = 1.0 / (1.0 + self._b * stress)
            part = self._a * reach
            secant = part.sum(axis=0)
            part *= reach
            tangent = part.sum(axis=0)
            short = target - secant * stress
            if np.all(np.abs(short) <= 1e-14 + 1e-5 * target):
                stress = stress + short / tangent  # squares the error left
                break
            bend = 1.0 - short * secant / (target * tangent)
            plain = stress + np.maximum(short, 0.0) / tangent
            stress = np.where(bend > 0.2, stress / np.maximum(bend, 0.2), plain)
        beyond = s - inside
        over = beyond > 0
        slope = 1.0 / tangent
        if over.any():
            ceiling_slope = 1.0 / self._tangent(np.full(s.shape, STRESS_CEILING_KPA))
            stress = np.where(over, STRESS_CEILING_KPA + beyond * ceiling_slope, stress)
            slope = np.where(over, ceiling_slope, slope)
        return np.where(s > 0, stress, 0.0), np.where(asked >= 0, slope, 0.0)


@dataclass(frozen=True, slots=True)
class FoamFit:
    """Result of fitting the law to measured points."""

    modulus_kpa: float
    locking_strain: float
    misfit_kpa: float
    worst_kpa: float

    def as_foam(self, id: str, label: str, points: Sequence[FoamPoint], source: str) -> Foam:
        """The fitted foam, readable up to 0.6 strain or 85 % of its locking strain, whichever is less."""
        return Foam(
            id=id,
            label=label,
            modulus_kpa=self.modulus_kpa,
            locking_strain=self.locking_strain,
            valid_strain=min(0.6, 0.85 * self.locking_strain),
            status="measured",
            source=source,
            misfit_kpa=self.misfit_kpa,
            points=tuple(points),
        )


def fit_foam(points: Sequence[FoamPoint]) -> FoamFit:
    """Fit modulus and locking strain to measured points (10, 25, 40 and 50 % strain are usual).

    Parameters
    ----------
    points
        At least two points of rising strain (above 0, below 1) and rising stress [kPa].

    Returns
    -------
    FoamFit
        With ``misfit_kpa``, the root mean square difference in stress over the points, and ``worst_kpa``.

    Raises
    ------
    FoamError
        When the points are too few, do not rise, or soften on the way: no foam law fits them.

    Notes
    -----
    The secant modulus is straight in the stress, ``s/e = E + s/locking``, which gives the start (exact for
    two points); Gauss-Newton steps then make the squared difference in stress least.

    Examples
    --------
    >>> from offload.core.foam.law import FoamPoint, fit_foam
    >>> points = [FoamPoint(0.10, 25), FoamPoint(0.25, 72), FoamPoint(0.40, 143), FoamPoint(0.50, 225)]
    >>> fit = fit_foam(points)
    >>> round(fit.modulus_kpa), round(fit.locking_strain, 2), round(fit.worst_kpa, 1)
    (206, 0.92, 2.2)
    """
    if len(points) < 2:
        raise FoamError(f"points holds {len(points)}; at least 2 measured points are needed.")
    strain = np.array([p.strain for p in points], dtype=float)
    stress = np.array([p.stress_kpa for p in points], dtype=float)
    if not (np.all(np.isfinite(strain)) and np.all(np.isfinite(stress))):
        raise FoamError("points holds a value that is not a finite number.")
    if strain[0] <= 0 or strain[-1] >= 1 or np.any(np.diff(strain) <= 0):
        raise FoamError("strain of the points must rise and lie between 0 and 1.")
    if stress[0] <= 0 or np.any(np.diff(stress) <= 0):
        raise FoamError("stress_kpa of the points must be above 0 kPa and rise from point to point.")
    slope, modulus = np.polyfit(stress, stress / strain, 1)
    if slope < 1.0 or modulus <= 0 or slope * strain[-1] >= 1.0:
        # The straight start is no foam; begin from a foam that locks beyond the last point instead.
        slope, modulus = 1.0, float(np.mean(stress / strain * (1.0 - strain)))
    value = np.array([modulus, slope])

    def miss(v: Array) -> Array:
        return v[0] * strain / (1.0 - strain * v[1]) - stress

    for _ in range(60):
        reach = 1.0 - strain * value[1]
        jacobian = np.column_stack([strain / reach, value[0] * strain**2 / reach**2])
        step = np.linalg.lstsq(jacobian, -miss(value), rcond=None)[0]
        size = 1.0
        while size > 1e-6:
            trial = value + size * step
            allowed = trial[0] > 0 and trial[1] >= 1.0 and trial[1] * strain[-1] < 1.0
            if allowed and np.sum(miss(trial) ** 2) <= np.sum(miss(value) ** 2):
                break
            size /= 2.0
        else:
            break
        value = trial
        if np.all(np.abs(step) * size <= 1e-12 * np.abs(value)):
            break
    left = miss(value)
    mean_square = float(np.sqrt(np.mean(left**2)))
    if mean_square > 0.3 * stress[-1]:
        raise FoamError(
            f"points lie {mean_square:.0f} kPa from the nearest foam law; the limit is 30 % of the last "
            "stress "
            f"({0.3 * stress[-1]:.0f} kPa)."
        )
    return FoamFit(float(value[0]), float(1.0 / value[1]), mean_square, float(np.max(np.abs(left))))


def remaining_thickness(thickness_mm: float, lost_mm: float) -> float:
    """Thickness [mm] of a worn layer; a layer must keep at least a tenth of itself.

    Raises
    ------
    FoamError
        When the loss is negative or takes more than nine tenths of the layer.
    """
    if not 0 <= lost_mm <= 0.9 * thickness_mm:
        raise FoamError(
            f"lost_mm is {lost_mm:g}; it must lie between 0 and {0.9 * thickness_mm:g} mm for a layer of "
            f"{thickness_mm:g} mm."
        )
    return thickness_mm - lost_mm


@cache
def packaged_foams() -> dict[str, Foam]:
    """The packaged foams by id. All of them are demonstration values, of no product."""
    text = resources.files("offload.core").joinpath("data/foams.toml").read_text(encoding="utf-8")
    table: dict[str, Any] = tomllib.loads(text)["foam"]
    return {key: Foam(id=key, **row) for key, row in table.items()}
