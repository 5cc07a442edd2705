"""Values between the loads and tissues at which a cut was solved."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

__all__ = ["along", "between", "parabola"]

Array = NDArray[np.float64]


def along(at: Array, values: Array, where: Array) -> Array:
    """Monotone interpolation along one axis, held at its ends."""
    from scipy.interpolate import PchipInterpolator  # slow to import: only a process that draws chances pays

    return np.asarray(PchipInterpolator(at, values)(np.clip(where, at[0], at[-1])))


def between(at: tuple[Array, Array], values: Array, where: tuple[Array, Array]) -> Array:
    """Monotone along the load, then a parabola over the three tissues; held at the ends."""
    rows = [along(at[0], values[:, column], where[0]) for column in range(values.shape[1])]
    return parabola(at[1], rows, where[1])


def parabola(at: Array, values: Sequence[Array | float], where: Array) -> Array:
    """A parabola through three places, held at their ends."""
    low, mid, high = at
    t = np.clip(where, low, high)
    shares = (
        (t - mid) * (t - high) / ((low - mid) * (low - high)),
        (t - low) * (t - high) / ((mid - low) * (mid - high)),
        (t - low) * (t - mid) / ((high - low) * (high - mid)),
    )
    return np.asarray(sum(share * value for share, value in zip(shares, values, strict=True)))
