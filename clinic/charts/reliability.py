"""A reliability diagram drawn by hand: what was said across, what came up, with the diagonal of a true
word."""

from collections.abc import Sequence
from xml.sax.saxutils import escape

from clinic.charts.errors import ChartError
from clinic.charts.words import words_tag
from clinic.healing.lookback import ReliabilityBin

__all__ = ["reliability_svg"]

SIDE = 260
LEFT, RIGHT, TOP, BOTTOM = 48, 12, 12, 40
FEWEST = 5


def reliability_svg(bins: Sequence[ReliabilityBin], label: str) -> str:
    """Draw one point a bin with its 95 % interval.

    Parameters
    ----------
    bins : sequence of ReliabilityBin
        From ``lookback.reliability``; those under five outcomes are hollow and have no interval.
    label : str
        Spoken in place of the picture.

    Returns
    -------
    str
        SVG in ``currentColor`` without style attributes.

    Raises
    ------
    ChartError
        If there is no bin.
    """
    if not bins:
        raise ChartError("bins: 0 given, at least 1 needed")

    def x(said: float) -> float:
        return LEFT + (SIDE - LEFT - RIGHT) * said

    def y(came: float) -> float:
        return TOP + (SIDE - TOP - BOTTOM) * (1.0 - came)

    parts = [
        f'<svg class="reliability-diagram" viewBox="0 0 {SIDE} {SIDE}" role="img" '
        f'aria-label="{escape(label, {chr(34): "&quot;"})}" fill="none" '
        'stroke="currentColor" font-size="12">',
        f'<path d="M{x(0):.1f} {y(0):.1f}L{x(1):.1f} {y(1):.1f}" stroke-dasharray="5 4" '
        'stroke-opacity=".6"/>',
        f'<path d="M{x(0):.1f} {y(1):.1f}V{y(0):.1f}H{x(1):.1f}" stroke-opacity=".4"/>',
    ]
    for tick in (0.0, 0.5, 1.0):
        parts.append(words_tag(LEFT - 6, y(tick) + 4, f"{tick:.0%}", "end"))
        # The last label ends where the picture ends.
        at, anchor = (SIDE, "end") if tick == 1.0 else (x(tick), "middle")
        parts.append(words_tag(at, SIDE - BOTTOM + 16, f"{tick:.0%}", anchor))
    parts.append(words_tag(x(0.5), SIDE - 6, "chance said", "middle"))
    for one in bins:
        count, of = one.happened.count, one.happened.of
        at, up = x(one.said), y(count / of)
        title = f"<title>{escape(f'said {one.said:.0%}: {count} of {of} closed')}</title>"
        few = of < FEWEST
        if not few:
            parts.append(f'<path d="M{at:.1f} {y(one.happened.low):.1f}V{y(one.happened.high):.1f}"/>')
        fill = "none" if few else "currentColor"
        parts.append(f'<circle cx="{at:.1f}" cy="{up:.1f}" r="4" fill="{fill}">{title}</circle>')
    return "".join([*parts, "</svg>"])
