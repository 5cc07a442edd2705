"""Measured against predicted peaks, drawn by hand: the line where both are equal, the bias and its limits
beside it.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from xml.sax.saxutils import escape

from clinic.charts.errors import ChartError
from clinic.charts.words import words_tag

__all__ = ["MeasuredPoint", "agreement_svg"]

WIDTH, HEIGHT = 600, 400
LEFT, RIGHT, TOP, BOTTOM = 60, 160, 12, 44
STEPS = (25, 50, 100, 200, 500, 1000)
MOST_TICKS = 6


@dataclass(frozen=True, slots=True)
class MeasuredPoint:
    """One pair of peaks.

    Parameters
    ----------
    words : str
        What it is of, spoken at the point.
    predicted, measured : float
        Peaks with the cut, 0 or more. [kPa]
    from_map : bool
        Whether the prediction started from a map measured under this foot.
    """

    words: str
    predicted: float
    measured: float
    from_map: bool


def agreement_svg(points: Sequence[MeasuredPoint], bias: float, low: float | None, high: float | None) -> str:
    """Draw measured over predicted peaks on one scale.

    Parameters
    ----------
    points : sequence of MeasuredPoint
        At least 1.
    bias : float
        Mean of measured minus predicted. [kPa]
    low, high : float or None
        95 % limits of that difference. [kPa]

    Returns
    -------
    str
        SVG in ``currentColor`` without style attributes. A disc starts from a measured map, a ring from the
        reference.

    Raises
    ------
    ChartError
        If there is no point, or a peak is negative or no finite number.
    """
    if not points:
        raise ChartError("points: 0 given, at least 1 needed")
    values = [value for point in points for value in (point.predicted, point.measured)]
    if not all(0.0 <= value < float("inf") for value in values):
        raise ChartError("points: a peak is negative or no finite number")
    step = next((one for one in STEPS if max(values) <= MOST_TICKS * one), STEPS[-1])
    top = step * max(1, -(-max(values) // step))

    def x(predicted: float) -> float:
        return LEFT + (WIDTH - LEFT - RIGHT) * predicted / top

    def y(measured: float) -> float:
        return TOP + (HEIGHT - TOP - BOTTOM) * (1.0 - measured / top)

    label = f"Measured over predicted peaks of {len(points)} pairs; bias {bias:.0f} kPa"
    if low is not None and high is not None:
        label += f", limits {low:.0f} to {high:.0f} kPa"
    parts = [
        f'<svg class="agreement" viewBox="0 0 {WIDTH} {HEIGHT}" role="img" aria-label="{label}" fill="none" '
        'stroke="currentColor" font-size="12">'
    ]
    for n in range(int(top // step) + 1):
        tick = n * step
        parts.append(
            f'<path d="M{LEFT} {y(tick):.1f}H{WIDTH - RIGHT}M{x(tick):.1f} {TOP}V{HEIGHT - BOTTOM}" '
            'stroke-opacity=".15"/>'
        )
        parts.append(words_tag(LEFT - 8, y(tick) + 4, f"{tick:g}", "end"))
        parts.append(words_tag(x(tick), HEIGHT - BOTTOM + 16, f"{tick:g}", "middle"))
    parts.append(
        words_tag((LEFT + WIDTH - RIGHT) / 2, HEIGHT - 8, "predicted peak with the cut, kPa", "middle")
    )
    turned = f' transform="rotate(-90 14 {(TOP + HEIGHT - BOTTOM) / 2:g})"'
    parts.append(words_tag(14, (TOP + HEIGHT - BOTTOM) / 2, "measured, kPa", "middle", turned))
    legend = 0
    limits = None if low is None or high is None else f"limits {low:+.0f}, {high:+.0f}"
    for shift, words, dash in (
        (0.0, "equal", ""),
        (bias, f"bias {bias:+.0f}", ' stroke-dasharray="6 4"'),
        (low, limits, ' stroke-dasharray="2 4"'),
        (high, None, ' stroke-dasharray="2 4"'),
    ):
        if shift is None:
            continue
        if abs(shift) < top:
            start, end = max(0.0, -shift), min(top, top - shift)
            parts.append(_line(x(start), y(start + shift), x(end), y(end + shift), dash))
        if words is not None:
            row = TOP + 10 + 20 * legend
            parts.append(_line(WIDTH - RIGHT + 12, row, WIDTH - RIGHT + 38, row, dash))
            parts.append(words_tag(WIDTH - RIGHT + 44, row + 4, words, "start"))
            legend += 1
    for point in points:
        words = f"{point.words}: {point.predicted:.0f} predicted, {point.measured:.0f} kPa measured"
        fill = "currentColor" if point.from_map else "none"
        parts.append(
            f'<circle cx="{x(point.predicted):.1f}" cy="{y(point.measured):.1f}" r="4.5" fill="{fill}" '
            'stroke-width="1.6">'
            f"<title>{escape(words)}</title></circle>"
        )
    return "".join([*parts, "</svg>"])


def _line(x1: float, y1: float, x2: float, y2: float, dash: str) -> str:
    return f'<path d="M{x1:.1f} {y1:.1f}L{x2:.1f} {y2:.1f}"{dash} stroke-width="1.3"/>'
