"""The load of the device an insole is worn in: published factors for a class and a region of the sole."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Any

import numpy as np
from numpy.typing import NDArray

from offload.core.shapes.insole import Insole

__all__ = [
    "BETWEEN_PEOPLE",
    "DEVICES",
    "FLAT_SHOE",
    "TAKEN",
    "Factor",
    "cell_factors",
    "factor_at",
    "label_of",
    "region_of_case",
]

Array = NDArray[np.float64]

TAKEN = ("barefoot", "shoe", "device")
"""Where a measured map was taken: barefoot, in a flat shoe, or in the device itself."""
REGIONS = {"rearfoot": "heel", "midfoot": "midfoot", "forefoot": "forefoot", "toes": "forefoot"}
REGION_OF_CASE = {"heel_strike": "heel", "mid_stance": "midfoot", "push_off": "forefoot"}


@dataclass(frozen=True, slots=True)
class Factor:
    """Peak pressure against a flat shoe [-]: central value and the spread of study means, and whether any
    was read.
    """

    central: float
    low: float
    high: float
    source: str
    status: str

    def after(self, other: Factor) -> Factor:
        """This factor upon another; the ends are those of both at once, so the range is rather wide."""
        return Factor(
            self.central * other.central,
            self.low * other.low,
            self.high * other.high,
            f"{other.source}; {self.source}",
            f"{other.status}; {self.status}",
        )


FLAT_SHOE = Factor(
    1.0, 1.0, 1.0, "a flat shoe with a plain insole is what the factors count from", "definition"
)


@cache
def _table() -> dict[str, Any]:
    text = resources.files("offload.core").joinpath("data/device_loads.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


DEVICES: tuple[str, ...] = tuple(_table()["device"])
"""Device classes with a factor; others hold no insole or have none in print."""
BETWEEN_PEOPLE: float = _table()["between_people"]["cv"]
"""Standard deviation over mean of a device's pressure between people [-]."""


def region_of_case(case: str) -> str:
    """The region whose load decides a load case: ``forefoot``, ``midfoot`` or ``heel``."""
    return REGION_OF_CASE[case]


def label_of(device: str) -> str:
    """A class of ``DEVICES`` in words."""
    return str(_table()["device"][device]["label"])


def factor_at(region: str, device: str | None, taken: str | None = None) -> Factor:
    """By what a map is multiplied in a region.

    Parameters
    ----------
    region : str
        ``forefoot``, ``midfoot`` or ``heel``.
    device : str or None
        One of ``DEVICES``; None for a flat shoe.
    taken : str or None
        Where the map was taken; None for the reference map, which stands for a flat shoe.

    Notes
    -----
    A barefoot map is brought to a shoe first; one taken in the device is used as it is.
    """
    if device is not None and taken == "device":
        return FLAT_SHOE
    found = FLAT_SHOE if device is None else _factor(_table()["device"][device], region)
    return found.after(_factor(_table()["barefoot"], region)) if taken == "barefoot" else found


def cell_factors(insole: Insole, y: Array, device: str | None, taken: str | None = None) -> Array:
    """Central factor at each place along the insole [-], by its zone."""
    regions = [REGIONS[insole.zone_of(float(one))] for one in y]
    known = {region: factor_at(region, device, taken).central for region in set(regions)}
    return np.array([known[region] for region in regions])


def _factor(row: Mapping[str, Any], region: str) -> Factor:
    entry = row[region]
    central, low, high = entry["factor"]
    return Factor(central, low, high, entry["source"], entry["status"])
