"""How far the inputs of a plan may be off: joint draws of load, tissue, foam, placement and landmarks."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from offload.core.foam.law import Foam
from offload.core.pressure.baseline import load_constants
from offload.core.pressure.device_load import BETWEEN_PEOPLE, Factor
from offload.core.pressure.grid import PressureMap

__all__ = ["DRAWS", "Draws", "Spread", "draws_of", "spread_of"]

Array = NDArray[np.float64]

DRAWS, SEED = 2000, 20260101
"""Draws of a plan; the seed stands, so that a plan computed twice says the same."""
RANGE_SD = 1.645
"""The published range of a device's factor is taken as its middle 90 %; design choice."""


@dataclass(frozen=True, slots=True)
class Spread:
    """Standard deviations of the inputs: logarithms of load below and above its centre, of tissue and
    foam; lengths [mm].
    """

    load_below: float
    load_above: float
    tissue: float
    foam: float
    placement: float
    landmarks: tuple[float, float]


@dataclass(frozen=True, slots=True)
class Draws:
    """Joint draws.

    Attributes
    ----------
    load, tissue, foam
        Factors upon the central values, shape ``(n,)``.
    moved
        Foot upon the insole along x and y [mm], shape ``(2, n)``: lesion, map and skeleton together, the cut
        stays.
    shifted
        Map and skeleton under the lesion along x and y [mm], shape ``(2, n)``.
    """

    load: Array
    tissue: Array
    foam: Array
    moved: Array
    shifted: Array


def spread_of(foams: tuple[Foam, ...], factor: Factor, measured: PressureMap | None) -> Spread:
    """Spread of a plan's inputs.

    Parameters
    ----------
    foams
        Of the stack.
    factor
        What the device makes of the map, with its published range.
    measured
        The measured map; without one the person's own load is unknown too.

    Notes
    -----
    Load: the published range of the factor, and how people differ about it. Of a person measured barefoot or
    in a shoe a part of that is known; of one measured in the device only the repeatability is left.
    """
    given = {name: row["value"] for name, row in _table().items()}
    people = math.sqrt(math.log(1.0 + BETWEEN_PEOPLE**2))
    if measured is None:
        own = people
    elif measured.taken == "barefoot":
        own = people * math.sqrt(1.0 - given["explained_barefoot"])
    elif measured.taken == "shoe" and factor.high > factor.low:
        own = given["response_shoe"]
    else:
        own = 0.0
    if measured is not None:
        own = math.hypot(own, given["measured_map"])
    below, above = (abs(math.log(end / factor.central)) / RANGE_SD for end in (factor.low, factor.high))
    along, across = given["landmarks_along"], given["landmarks_across"]
    return Spread(
        load_below=math.hypot(below, own),
        load_above=math.hypot(above, own),
        tissue=given["tissue"],
        foam=max(_foam_spread(foam, given) for foam in foams),
        placement=given["placement"],
        landmarks=(across, along) if measured is None else (given["landmarks_measured"],) * 2,
    )


def _foam_spread(foam: Foam, given: dict[str, float]) -> float:
    """Misfit of a measured foam against its stress at a quarter strain; of any other the spread of its
    kind.
    """
    if foam.misfit_kpa is None:
        return given["foam_demonstration"]
    return max(given["foam_least"], foam.misfit_kpa / float(foam.stress(min(0.25, foam.valid_strain))))


def draws_of(spread: Spread, count: int = DRAWS, seed: int = SEED) -> Draws:
    """Joint draws, independent of one another; load by two halves of a logarithmic normal with the median
    at its centre.
    """
    normal = np.random.default_rng(seed).standard_normal((7, count))
    load = np.where(normal[0] < 0, spread.load_below, spread.load_above) * normal[0]
    across, along = spread.landmarks
    return Draws(
        load=np.exp(load),
        tissue=np.exp(spread.tissue * normal[1]),
        foam=np.exp(spread.foam * normal[2]),
        moved=spread.placement * normal[3:5],
        shifted=np.stack([across * normal[5], along * normal[6]]),
    )


def _table() -> dict[str, Any]:
    table: dict[str, Any] = load_constants()["spread"]
    return table
