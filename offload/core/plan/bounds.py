"""What the values of a relief specification may be: one limit for files, forms and records."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from offload.core.errors import Fault, Path
from offload.core.foam.stack import THICKNESS_LIMITS, Layer, faults_of_stack
from offload.core.plan.spec import ReliefSpec
from offload.core.pressure.device_load import DEVICES, TAKEN
from offload.core.pressure.grid import PressureMap
from offload.core.shapes.lesion import LesionSpec

__all__ = [
    "ANGLE",
    "BEVEL",
    "BODY_WEIGHT",
    "CELL",
    "FOOT_LENGTH",
    "FOOT_WIDTH",
    "LABEL_LIMIT",
    "LESION_LENGTH",
    "MARGIN",
    "MOST_CELLS",
    "MOST_LESIONS",
    "NO_DEVICE",
    "NO_LOAD",
    "NO_MIDDLE",
    "PLACE",
    "PRESSURE",
    "TAKEN_LABEL",
    "THICKNESS",
    "Span",
    "distal_limit",
    "faults_of_values",
    "is_label",
    "lacks_device",
    "lacks_middle",
    "width_limit",
]


@dataclass(frozen=True)
class Span:
    """A number between two bounds, both allowed.

    Parameters
    ----------
    low, high : float
        In the unit.
    unit : str
        As it is written behind the number.
    """

    low: float
    high: float
    unit: str

    def __contains__(self, value: float) -> bool:
        return math.isfinite(value) and self.low <= value <= self.high

    @property
    def limit(self) -> str:
        """The limit in words."""
        return f"a number from {self.low:g} to {self.high:g} {self.unit}"

    @property
    def limit_of_two(self) -> str:
        """The limit of a pair in words."""
        return f"two numbers from {self.low:g} to {self.high:g} {self.unit}"


REACH = 500.0  # [mm] no coordinate of an insole lies farther out
LARGEST_PRESSURE = 3000.0  # [kPa] above any plantar pressure in print; a larger value is a wrong unit

FOOT_LENGTH = Span(120, 350, "mm")
FOOT_WIDTH = Span(40, 160, "mm")
BODY_WEIGHT = Span(20, 300, "kg")
MARGIN = Span(0, 30, "mm")
BEVEL = Span(20, 90, "degrees")
LESION_LENGTH = Span(1, 200, "mm")
ANGLE = Span(-360, 360, "degrees")
PLACE = Span(-REACH, REACH, "mm")
CELL = Span(1, 20, "mm")
PRESSURE = Span(0, LARGEST_PRESSURE, "kPa")
THICKNESS = Span(*THICKNESS_LIMITS, "mm")

MOST_LESIONS = 12
MOST_CELLS = 400  # rows or columns of a pressure map
LONGEST_LABEL = 40
LABEL_LIMIT = f"1 to {LONGEST_LABEL} printable characters"
TAKEN_LABEL = "a label that no other lesion has"
NO_MIDDLE = "auto or base, because the stack has no middle layer"
NO_DEVICE = Fault(("pressure_map", "taken"), "device", "barefoot or shoe where device is absent")
NO_LOAD = Fault(("pressure_map", "kpa"), 0.0, "at least one cell above 0 kPa", "is 0 everywhere")


def is_label(label: object) -> bool:
    """Whether a value may name a lesion."""
    return (
        isinstance(label, str) and bool(label.strip()) and label.isprintable() and len(label) <= LONGEST_LABEL
    )


def distal_limit(margin: float) -> str:
    """What the margin towards the toes may be beside a margin all round [mm], in words."""
    return f"margin_mm ({margin:g}) to {MARGIN.high:g} mm"


def width_limit(length: float) -> str:
    """What a lesion's width may be beside its length [mm], in words."""
    return f"{LESION_LENGTH.low:g} to length_mm ({length:g}) mm"


def lacks_middle(cut: str, stack: Sequence[Layer]) -> bool:
    """Whether a cut asks for a middle layer that the stack does not have."""
    return "middle" in cut and bool(stack) and all(layer.role != "middle" for layer in stack)


def lacks_device(given: PressureMap, has_device: bool) -> bool:
    """Whether a map says that it was taken in a device and none is named."""
    return given.taken == "device" and not has_device


def faults_of_values(spec: ReliefSpec) -> list[Fault]:
    """Every value of a specification made in the program that a file could not have held.

    Parameters
    ----------
    spec : ReliefSpec
        Whether lesions and map lie on the insole is judged where the plan is computed.

    Returns
    -------
    list of Fault
    """
    numbers: list[tuple[Path, float | None, Span]] = [
        (("foot_length_mm",), spec.foot_length, FOOT_LENGTH),
        (("foot_width_mm",), spec.foot_width, FOOT_WIDTH),
        (("body_weight_kg",), spec.body_weight, BODY_WEIGHT),
        (("margin_mm",), spec.margin, MARGIN),
        (("distal_margin_mm",), spec.distal_margin, MARGIN),
        (("bevel_deg",), spec.bevel, BEVEL),
        *((("stack", i, "thickness_mm"), one.thickness, THICKNESS) for i, one in enumerate(spec.stack)),
    ]
    for i, lesion in enumerate(spec.lesions):
        numbers += _of_ellipse(lesion, ("lesions", i))
    faults = [
        Fault(path, value, span.limit)
        for path, value, span in numbers
        if value is not None and value not in span
    ]
    if not 1 <= len(spec.lesions) <= MOST_LESIONS:
        found = f"has {len(spec.lesions)} lesions"
        faults.append(Fault(("lesions",), len(spec.lesions), f"1 to {MOST_LESIONS}", found))
    faults += _of_labels(spec.lesions)
    if spec.distal_margin < spec.margin:
        faults.append(Fault(("distal_margin_mm",), spec.distal_margin, distal_limit(spec.margin)))
    if lacks_middle(spec.cut, spec.stack):
        faults.append(Fault(("cut",), spec.cut, NO_MIDDLE))
    faults += faults_of_stack([layer.role for layer in spec.stack])
    if spec.device is not None and spec.device not in DEVICES:
        faults.append(Fault(("device",), spec.device, f"one of {', '.join(DEVICES)}"))
    if spec.pressure_map is not None and lacks_device(spec.pressure_map, spec.device is not None):
        faults.append(NO_DEVICE)
    return faults + ([] if spec.pressure_map is None else list(_of_map(spec.pressure_map)))


def _of_ellipse(lesion: LesionSpec, at: Path) -> list[tuple[Path, float | None, Span]]:
    if lesion.ellipse is None:
        return []
    return [
        ((*at, "length_mm"), lesion.ellipse.length, LESION_LENGTH),
        ((*at, "width_mm"), lesion.ellipse.width, LESION_LENGTH),
        ((*at, "angle_deg"), lesion.ellipse.angle, ANGLE),
    ]


def _of_labels(lesions: Sequence[LesionSpec]) -> Iterator[Fault]:
    seen: set[str] = set()
    for i, lesion in enumerate(lesions):
        path: Path = ("lesions", i, "label")
        if not is_label(lesion.label):
            yield Fault(path, lesion.label, LABEL_LIMIT)
        elif lesion.label in seen:
            yield Fault(path, lesion.label, TAKEN_LABEL)
        seen.add(lesion.label)
        size = lesion.ellipse
        if size is not None and size.width > size.length:
            yield Fault(("lesions", i, "width_mm"), size.width, width_limit(size.length))


def _of_map(given: PressureMap) -> Iterator[Fault]:
    if given.taken not in TAKEN:
        yield Fault(("pressure_map", "taken"), given.taken, f"one of {', '.join(TAKEN)}")
    if any(size not in CELL for size in given.cell):
        yield Fault(("pressure_map", "cell_mm"), given.cell, CELL.limit_of_two)
    rows, columns = len(given.kpa), max(map(len, given.kpa), default=0)
    if not (1 <= rows <= MOST_CELLS and 1 <= columns <= MOST_CELLS):
        limit = f"1 to {MOST_CELLS} each way"
        found = f"has {rows} rows of {columns} cells"
        yield Fault(("pressure_map", "kpa"), (rows, columns), limit, found)
        return
    grid = given.grid()
    if not ((grid >= PRESSURE.low) & (grid <= PRESSURE.high)).all():
        yield Fault(("pressure_map", "kpa"), float(grid.max()), PRESSURE.limit)
    elif not grid.any():
        yield NO_LOAD
