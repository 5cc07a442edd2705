"""How far predictions and measurements agree: bias and limits."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from offload.core.errors import ReliefError
from offload.core.pressure.grid import PressureMap
from offload.core.shapes.outline import Outline

__all__ = ["FEW", "PeakAgreement", "agreement_of", "peak_under"]

FEW = 30
"""Pairs below which limits are called uncertain; design choice."""
Z = 1.96


@dataclass(frozen=True, slots=True)
class PeakAgreement:
    """Differences measured minus predicted.

    Attributes
    ----------
    n : int
        Pairs.
    bias : float
        Mean difference.
    low, high : float or None
        95 % limits of agreement; None for fewer than two pairs.
    bias_error, limit_error : float or None
        Standard errors of the bias and of each limit.
    """

    n: int
    bias: float
    low: float | None
    high: float | None
    bias_error: float | None
    limit_error: float | None

    @property
    def few(self) -> bool:
        """Whether there are too few pairs to lean on the limits."""
        return self.n < FEW


def agreement_of(pairs: Sequence[tuple[float, float]]) -> PeakAgreement | None:
    """Bias and 95 % limits of agreement of predicted and measured values.

    Parameters
    ----------
    pairs : sequence of (float, float)
        Predicted, measured.

    Returns
    -------
    Agreement or None
        None without a pair.

    Notes
    -----
    Limits ``bias ± 1.96 s`` with the sample standard deviation s of the differences; standard errors ``s/√n``
    of the bias and ``√(1/n + 1.96²/(2(n − 1)))·s`` of a limit.

    References
    ----------
    .. [1] Bland JM, Altman DG. Measuring agreement in method comparison studies. Stat Methods Med Res
    1999;8:135.
    """
    if not pairs:
        return None
    differences = np.array([measured - predicted for predicted, measured in pairs], dtype=float)
    if not np.all(np.isfinite(differences)):
        raise ReliefError("pairs holds a value that is not a finite number.")
    n, bias = len(differences), float(differences.mean())
    if n < 2:
        return PeakAgreement(n, bias, None, None, None, None)
    spread = float(differences.std(ddof=1))
    return PeakAgreement(
        n,
        bias,
        bias - Z * spread,
        bias + Z * spread,
        spread / math.sqrt(n),
        math.sqrt(1 / n + Z**2 / (2 * (n - 1))) * spread,
    )


def peak_under(given: PressureMap, outline: Outline) -> float:
    """Highest pressure of a placed map under a lesion [kPa]: of the cells it covers by half or more, or the
    fullest one.

    Parameters
    ----------
    given : PressureMap
        On the insole.
    outline : Outline
        The lesion [mm].
    """
    dx, dy = given.cell
    x0, y0 = given.origin
    kpa = given.grid()
    shares = np.array(
        [
            [
                outline.polygon.intersection(
                    shapely.box(x0 + j * dx, y0 + i * dy, x0 + (j + 1) * dx, y0 + (i + 1) * dy)
                ).area
                / (dx * dy)
                for j in range(kpa.shape[1])
            ]
            for i in range(kpa.shape[0])
        ]
    )
    if shares.max(initial=0.0) <= 0:
        raise ReliefError("the map does not reach the ulcer; check the landmarks and the cell size.")
    return float(kpa[shares >= min(0.5, float(shares.max()))].max())
