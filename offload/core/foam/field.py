"""The foam of one layer cell by cell, where pieces of other foam are let into it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from offload.core.foam.law import Foam

__all__ = ["FoamField", "LayerFoam", "between", "chosen"]

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class FoamField:
    """Foams side by side in each cell.

    Attributes
    ----------
    foams
        The layer's own foam and those of its inlays.
    shares
        Share of each cell that is of each foam [-], shape ``(foams, ...)``; they add up to 1.

    Notes
    -----
    Within a cell foams stand side by side under one face, so that their stiffnesses add by their shares. A
    cell of one foam alone is exactly that foam.
    """

    foams: tuple[Foam, ...]
    shares: Array

    @property
    def modulus_kpa(self) -> Array:
        """Initial modulus of each cell [kPa]."""
        return self._mixed([foam.modulus_kpa for foam in self.foams])

    @property
    def locking_strain(self) -> Array:
        """Locking strain of each cell [-], so that its law bends as those of its foams together do at
        first.
        """
        bend = self._mixed([foam.modulus_kpa / foam.locking_strain for foam in self.foams])
        return np.asarray(self.modulus_kpa / bend)

    def shear_modulus_at(self, stress_kpa: ArrayLike) -> Array:
        """Shear modulus under a pressure [kPa]."""
        return self._mixed([foam.shear_modulus_at(stress_kpa) for foam in self.foams])

    def softness_at(self, stress_kpa: ArrayLike) -> Array:
        """Change of strain with stress [1/kPa] under a pressure."""
        return np.asarray(1.0 / self._mixed([1.0 / foam.softness_at(stress_kpa) for foam in self.foams]))

    def strain(self, stress_kpa: ArrayLike) -> Array:
        """Compressive strain [-] under a stress [kPa]."""
        return self._mixed([foam.strain(stress_kpa) for foam in self.foams])

    def at(self, cells: NDArray[np.bool_]) -> FoamField:
        """The field in chosen cells only."""
        return FoamField(self.foams, self.shares[:, cells])

    def _mixed(self, values: Sequence[ArrayLike]) -> Array:
        return np.asarray(sum(share * value for share, value in zip(self.shares, values, strict=True)))


LayerFoam = Foam | FoamField
"""The foam of a layer: one everywhere, or another from cell to cell."""


def chosen(foams: Sequence[LayerFoam], cells: NDArray[np.bool_]) -> tuple[LayerFoam, ...]:
    """Foams of layers in chosen cells."""
    return tuple(foam.at(cells) if isinstance(foam, FoamField) else foam for foam in foams)


def between(foams: Sequence[LayerFoam], *picks: Callable[[Array], Array]) -> tuple[LayerFoam, ...]:
    """Foams of layers midway between cells, each pick giving the values of one of them."""

    def mean(field: FoamField) -> FoamField:
        rows = [np.mean([pick(share) for pick in picks], axis=0) for share in field.shares]
        return FoamField(field.foams, np.array(rows))

    return tuple(mean(foam) if isinstance(foam, FoamField) else foam for foam in foams)
