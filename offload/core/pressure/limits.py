"""The limits of the checks that need pressure: check, sentence, scale and picture all read them here."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from offload.core.pressure.baseline import load_constants

__all__ = ["PressureLimits", "pressure_limits"]


@dataclass(frozen=True)
class PressureLimits:
    """Limits of ``data/loads.toml``, where each stands with its source.

    Parameters
    ----------
    layer_strain_good, layer_strain_warn : float
        Compression of a layer up to which it is good, and over which it bottoms out. [-]
    clearance : float
        Least height of the void that stays open. [mm]
    peak_elsewhere : float
        Pressure over which a region outside the opening is looked at. [kPa]
    """

    layer_strain_good: float
    layer_strain_warn: float
    clearance: float
    peak_elsewhere: float


@cache
def pressure_limits() -> PressureLimits:
    """The limits as they are packaged."""
    rows = load_constants()["limits"]
    return PressureLimits(
        layer_strain_good=float(rows["layer_strain_good"]["value"]),
        layer_strain_warn=float(rows["layer_strain_warn"]["value"]),
        clearance=float(rows["clearance_mm"]["value"]),
        peak_elsewhere=float(rows["peak_elsewhere_kpa"]["value"]),
    )
