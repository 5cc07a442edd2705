"""From which weight on a base cut leaves less than a middle cut, by device class; computed, never fitted."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib import resources

from offload.core.pressure.device_load import label_of

__all__ = ["Crossing", "FLAT", "SAYS_NOTHING", "WHAT", "crossings"]

FLAT = "flat_shoe"
WHAT = (
    "the demonstration stack (3 / 6 / 6 mm), one ulcer of 20 mm under metatarsal heads 2 and 3, push-off, "
    "the reference map, mean over 1.5 cm²; 80 % interval over the published range of the class's factor and "
    "over tissue stiffness"
)
SAYS_NOTHING = (
    "Intervals this wide, of one foot and one ulcer, neither support nor refute the rule; without a device "
    "that takes load off they lie lower."
)


@dataclass(frozen=True, slots=True)
class Crossing:
    """Weight from which a base cut leaves less than a middle cut [kg]: central, and its 80 % interval."""

    device: str | None
    words: str
    central: float
    low: float
    high: float


@cache
def crossings() -> tuple[Crossing, ...]:
    """The weights kept in ``data/crossings.toml``, which ``python -m tests.offload.core.crossing --write``
    makes.
    """
    text = resources.files("offload.core").joinpath("data/crossings.toml").read_text(encoding="utf-8")
    return tuple(
        Crossing(
            None if device == FLAT else device,
            "flat shoe" if device == FLAT else label_of(device),
            *(float(value) for value in weights),
        )
        for device, weights in tomllib.loads(text)["kg"].items()
    )
