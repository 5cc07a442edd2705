"""What the vertical axis of a healing curve tells: area or its reduction, evenly or by factors."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from matplotlib.axes import Axes

from clinic.charts.errors import ChartError
from clinic.charts.style import SOFT, points
from clinic.healing.progress import area_error
from clinic.healing.series import Area

__all__ = ["Quantity", "Scale", "Spacing", "draw_scale", "scale_for"]

_TOPS = (1, 2, 2.5, 5, 10)
_LEAST_SHOWN = 0.05
"""Bottom of a logarithmic axis at least; 0 has no place on it and is drawn at the bottom. [cm²]"""


class Quantity(StrEnum):
    """What is drawn upward."""

    AREA = "area"
    REDUCTION = "reduction"


class Spacing(StrEnum):
    """How the axis is spaced."""

    LINEAR = "linear"
    LOG = "log"


@dataclass(frozen=True, slots=True)
class Scale:
    """From an area to its height on the axis.

    Parameters
    ----------
    quantity : Quantity
        Area [cm²], or reduction from ``first`` [%].
    spacing : Spacing
        Logarithmic only for areas.
    first : float
        First area of the judged run. [cm²]
    low, high : float
        Ends of the axis, in its own unit.
    """

    quantity: Quantity
    spacing: Spacing
    first: float
    low: float
    high: float

    def of(self, area: float) -> float:
        """Height of an area given in cm²."""
        if self.quantity is Quantity.REDUCTION:
            return 100.0 * (1.0 - area / self.first)
        return max(area, self.low) if self.spacing is Spacing.LOG else area

    def ends(self, area: float, error: float) -> tuple[float, float]:
        """Lower and upper height of an area [cm²] give or take its error."""
        one, other = self.of(max(0.0, area - error)), self.of(area + error)
        return min(one, other), max(one, other)


def scale_for(areas: Sequence[Area], first: float, quantity: Quantity, spacing: Spacing) -> Scale:
    """Scale that holds the areas with their errors.

    Parameters
    ----------
    areas : sequence of Area
        All that will be drawn.
    first : float
        First area of the judged run. [cm²]
    quantity, spacing
        As asked.

    Returns
    -------
    Scale
        With its ends.

    Raises
    ------
    ChartError
        If a reduction is asked of a first area of 0, or by factors.
    """
    errors = [(a.area_cm2, area_error(a.area, a.method, a.perimeter, a.share) / 100.0) for a in areas]
    top = max(
        max(area + error for area, error in errors) * 1.12, 0.2
    )  # room for the name over the highest bar
    if quantity is Quantity.REDUCTION:
        if first <= 0:
            raise ChartError("quantity: the first area is 0 cm², a reduction needs one above 0")
        if spacing is Spacing.LOG:
            raise ChartError("spacing: log is not for reductions, which may be 0 or negative; use linear")
        low = 100.0 * (1.0 - top / first)
        return Scale(quantity, spacing, first, min(-12.0, 1.05 * low), 108.0)
    if spacing is Spacing.LOG:
        least = min((area - error for area, error in errors if area - error > 0), default=_LEAST_SHOWN)
        return Scale(quantity, spacing, first, max(_LEAST_SHOWN, min(0.5 * least, top / 4.0)), 1.2 * top)
    return Scale(quantity, spacing, first, 0.0, top)


def draw_scale(axes: Axes, scale: Scale) -> None:
    """Set limits, ticks and the name of the vertical axis."""
    if scale.spacing is Spacing.LOG:
        axes.set_yscale("log")
        axes.minorticks_off()
    axes.set_ylim(scale.low, scale.high)
    ticks = _ticks(scale)
    axes.set_yticks(ticks, [f"{tick:g}".replace("-", "−") for tick in ticks])
    words = "Reduction from the first area [%]" if scale.quantity is Quantity.REDUCTION else "Area [cm²]"
    axes.annotate(
        words if scale.spacing is Spacing.LINEAR else f"{words}, by factors; closed lies below the axis",
        (0, 1),
        xycoords="axes fraction",
        xytext=(points(-44), points(24)),
        textcoords="offset points",
        color=SOFT,
        va="center",
    )


def _ticks(scale: Scale) -> list[float]:
    if scale.quantity is Quantity.REDUCTION:
        span = scale.high - scale.low
        step = next(s for s in (25.0, 50.0, 100.0, 200.0, 500.0, 1e3, 1e4, 1e6) if span / s <= 8)
        return [i * step for i in range(math.ceil(scale.low / step), int(100 / step) + 1)]
    if scale.spacing is Spacing.LOG:
        powers = range(math.floor(math.log10(scale.low)), math.ceil(math.log10(scale.high)) + 1)
        wanted = [m * 10.0**p for p in powers for m in (1, 2, 5)]
        return [w for w in wanted if scale.low <= w * (1 + 1e-9) and w <= scale.high]
    top = scale.high
    power = 10.0 ** len(str(int(top / 4))) / 10.0 if top >= 4 else 10.0 ** -(2 if top < 0.4 else 1)
    step = next(s * power for s in _TOPS if s * power >= top / 4.5)
    return [i * step for i in range(int(top / step + 1e-9) + 1)]
