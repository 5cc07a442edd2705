"""An invented peak map of one foot: the open reference print, loaded otherwise along the foot."""

from __future__ import annotations

from datetime import date
from random import Random

import numpy as np

from clinic.models import Limb, MeasuredMap, User
from clinic.relief.writes.measured_maps import map_keep
from offload.core.pressure.baseline import PRINT_LANDMARKS, reference_print
from offload.core.pressure.measured import MeasuredGrid

__all__ = ["measured_under"]

CELL_OF_LENGTH = 5.0 / 262.0
"""Cell of the invented system as a share of the foot's length: the print is as long as the foot's own."""


def measured_under(limb: Limb, day: date, by: User, seed: Random) -> MeasuredMap:
    """Keep a map of this foot, with less under the heel and more under the forefoot than the reference."""
    kpa = reference_print()
    rows, columns = kpa.shape
    along = np.linspace(0.0, 1.0, rows)[:, None]
    shift = np.interp(along, [0.0, 0.3, 0.75, 1.0], [0.85, 0.9, 1.15, 0.95]) * seed.uniform(0.9, 1.1)
    grid = np.round(kpa * shift)
    cell = round(CELL_OF_LENGTH * float(limb.foot_length_mm or 0), 2)
    points = []
    # Heads 2 and 3 are one maximum of the print; head 2 lies half their distance to its medial side.
    for names, name, aside in (
        (("heel",), "heel", 0.0),
        (("metatarsal_head_2", "metatarsal_head_3"), "metatarsal_head_2", 7.0),
    ):
        across, up = PRINT_LANDMARKS[names]
        points.append((name, round(across * columns * cell - aside, 1), round(up * rows * cell, 1)))
    return map_keep(
        by=by,
        limb=limb,
        measured_on=day,
        worn="flat clinic shoe, uncut insole",
        taken="shoe",
        unit="kPa",
        grid=MeasuredGrid(tuple(map(tuple, grid.tolist())), (cell, cell), "peak"),
        points=points,
    )
