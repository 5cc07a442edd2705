"""How far the model was off over what was measured in the shoe."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from offload.core.pressure.agreement import agreement_of

__all__ = [
    "ENOUGH_PAIRS",
    "RIGHT_SHARE",
    "RunningBias",
    "running_bias",
]

ENOUGH_PAIRS, RIGHT_SHARE = 20, 0.8
"""Measured pairs of a clinic, and the share of them with the direction right, before the model may lead;
common practice, no source.
"""


@dataclass(frozen=True, slots=True)
class RunningBias:
    """How far the model was off over the measured pairs of a clinic; nothing is corrected by it.

    Parameters
    ----------
    n : int
        Pairs.
    bias : float or None
        Mean of measured minus predicted with the cut [kPa]; None without a pair.
    low, high : float or None
        95 % limits of agreement [kPa].
    right : int
        Pairs in which measured and predicted peak both fell, or both did not.
    """

    n: int
    bias: float | None
    low: float | None
    high: float | None
    right: int

    @property
    def enough_to_lead(self) -> bool:
        """Whether the pairs are many and right enough for the model to lead."""
        return self.n >= ENOUGH_PAIRS and self.right >= RIGHT_SHARE * self.n

    @property
    def words(self) -> str:
        """The one sentence that stands beside every estimate."""
        if self.bias is None:
            return (
                "Measured in this clinic: nothing yet, so how far these estimates are off here is not known."
            )
        pairs = f"{self.n} pair{'' if self.n == 1 else 's'}"
        if abs(self.bias) < 0.5:
            way = "estimates were as high as what was measured on average"
        else:
            side = "low" if self.bias > 0 else "high"
            way = f"estimates with the cut were {abs(self.bias):.0f} kPa too {side} on average"
        limits = "" if self.low is None else f", 95 % limits {self.low:.0f} to {self.high:.0f} kPa"
        right = f"direction right in {self.right}"
        return f"Measured in this clinic: {way} ({pairs}{limits}; {right}). Nothing is corrected by it."


def running_bias(pairs: Sequence[tuple[float, float, float, float]]) -> RunningBias:
    """Sum up the measured pairs of a clinic.

    Parameters
    ----------
    pairs : sequence of (float, float, float, float)
        Predicted before and after, measured without and with the cut [kPa].

    Returns
    -------
    RunningBias

    Examples
    --------
    >>> running_bias([(300.0, 100.0, 320.0, 140.0)]).bias
    40.0
    """
    found = agreement_of([(after, with_cut) for _, after, _, with_cut in pairs])
    right = sum((after < before) == (with_cut < without) for before, after, without, with_cut in pairs)
    if found is None:
        return RunningBias(0, None, None, None, 0)
    return RunningBias(found.n, found.bias, found.low, found.high, right)
