"""A funnel of shares over numbers of cases, drawn by hand: points, the whole, and the limits of chance."""

from collections.abc import Sequence
from xml.sax.saxutils import escape

import numpy as np

from clinic.charts.errors import ChartError
from clinic.charts.words import words_tag
from clinic.healing.funnel import Place, funnel_limits, placed

__all__ = ["funnel_svg"]

WIDTH, HEIGHT = 720, 300
LEFT, RIGHT, TOP, BOTTOM = 48, 92, 12, 40


def funnel_svg(points: Sequence[tuple[str, int, int]], share: float, label: str) -> str:
    """Draw one point a site against the limits round the whole.

    Parameters
    ----------
    points : sequence of (name, count, of)
        Cases with the property and cases, at least 1. [-]
    share : float
        Share of the whole, 0 to 1. [-]
    label : str
        Spoken in place of the picture.

    Returns
    -------
    str
        SVG in ``currentColor`` without style attributes. Outside 99.8 % a point is a triangle, outside 95 % a
        square.

    Raises
    ------
    ChartError
        If there is no point.
    """
    if not points:
        raise ChartError("points: 0 given, at least 1 needed")
    most = max(of for _, _, of in points)
    top = most * 1.05 + 1
    n = np.unique(np.linspace(max(1, most * 0.02), top, 120).round())

    def x(cases: float) -> float:
        return LEFT + (WIDTH - LEFT - RIGHT) * cases / top

    def y(part: float) -> float:
        return TOP + (HEIGHT - TOP - BOTTOM) * (1.0 - part)

    parts = [
        f'<svg class="funnel" viewBox="0 0 {WIDTH} {HEIGHT}" role="img" '
        f'aria-label="{escape(label, {chr(34): "&quot;"})}" fill="none" stroke="currentColor" font-size="12">'
    ]
    for tick in (0.0, 0.25, 0.5, 0.75, 1.0):
        parts.append(f'<path d="M{LEFT - 4} {y(tick):.1f}H{WIDTH - RIGHT}" stroke-opacity=".18"/>')
        parts.append(words_tag(LEFT - 8, y(tick) + 4, f"{tick:.0%}", "end"))
    for part in (0.0, 0.25, 0.5, 0.75, 1.0):
        cases = part * most
        parts.append(words_tag(x(cases), HEIGHT - BOTTOM + 16, f"{cases:.0f}", "middle"))
    parts.append(words_tag((LEFT + WIDTH - RIGHT) / 2, HEIGHT - 6, "cases", "middle"))
    parts.append(f'<path d="M{LEFT} {y(share):.1f}H{WIDTH - RIGHT}" stroke-width="1.5"/>')
    parts.append(words_tag(WIDTH - RIGHT + 6, y(share) + 4, "all clinics", "start"))
    for level, dash in ((0.95, ' stroke-dasharray="5 4"'), (0.998, "")):
        for side, limits in enumerate(funnel_limits(share, n, level)):
            line = "L".join(f"{x(a):.1f} {y(b):.1f}" for a, b in zip(n, limits, strict=True))
            parts.append(f'<path d="M{line}"{dash} stroke-opacity=".6"/>')
            if side == 1:
                end = y(float(limits[-1]))
                parts.append(
                    words_tag(
                        WIDTH - RIGHT + 6,
                        end - (14 if level > 0.99 else 2),
                        f"{level:.1%}".replace(".0%", "%"),
                        "start",
                    )
                )
    places = placed([(count, of) for _, count, of in points], share)
    for (name, count, of), place in zip(points, places, strict=True):
        parts.append(_point(x(of), y(count / of), f"{name}: {count} of {of}", place))
    return "".join([*parts, "</svg>"])


def _point(x: float, y: float, words: str, place: Place) -> str:
    title = f"<title>{escape(words)}</title>"
    if not place.inside_998:
        return f'<path d="M{x:.1f} {y - 6:.1f}l6 10h-12z" fill="currentColor">{title}</path>'
    if not place.inside_95:
        return f'<rect x="{x - 4:.1f}" y="{y - 4:.1f}" width="8" height="8" stroke-width="1.5">{title}</rect>'
    return f'<circle cx="{x:.1f}" cy="{y:.1f}" r="3.5">{title}</circle>'
