"""The alarms' trade-off drawn by hand: wrongly told steady wounds across, weeks to a real stop up."""

from collections.abc import Sequence
from xml.sax.saxutils import escape

from clinic.charts.errors import ChartError
from clinic.charts.words import words_tag
from clinic.healing.alarms import AlarmPoint

__all__ = ["alarms_svg"]

WIDTH, HEIGHT = 480, 260
LEFT, RIGHT, TOP, BOTTOM = 44, 16, 28, 40
ACROSS, UP = 25.0, 5.0  # ends of the axes [%, weeks]
CHOSEN_ROOM = 10.0


def alarms_svg(points: Sequence[AlarmPoint], label: str) -> str:
    """Draw one point a limit, the chosen one filled.

    Parameters
    ----------
    points : sequence of AlarmPoint
        In the order of their limits.
    label : str
        Spoken in place of the picture.

    Returns
    -------
    str
        SVG in ``currentColor`` without style attributes.

    Raises
    ------
    ChartError
        If there is no point, or one lies beyond the axes.
    """
    if not points:
        raise ChartError("points: 0 given, at least 1 needed")
    beyond = [point.limit for point in points if point.ever > ACROSS or point.plateau_weeks > UP]
    if beyond:
        raise ChartError(f"points: limit {beyond[0]:g} lies beyond {ACROSS:g} % or {UP:g} weeks")

    def x(ever: float) -> float:
        return LEFT + (WIDTH - LEFT - RIGHT) * ever / ACROSS

    def y(weeks: float) -> float:
        return TOP + (HEIGHT - TOP - BOTTOM) * (1.0 - weeks / UP)

    parts = [
        f'<svg class="alarms" viewBox="0 0 {WIDTH} {HEIGHT}" role="img" '
        f'aria-label="{escape(label, {chr(34): "&quot;"})}" fill="none" '
        'stroke="currentColor" font-size="12">',
        f'<path d="M{x(0):.1f} {y(UP):.1f}V{y(0):.1f}H{x(ACROSS):.1f}" stroke-opacity=".4"/>',
    ]
    for weeks in range(0, int(UP) + 1):
        parts.append(words_tag(LEFT - 6, y(weeks) + 4, f"{weeks}", "end"))
    for share in range(0, int(ACROSS) + 1, 5):
        parts.append(words_tag(x(share), HEIGHT - BOTTOM + 16, f"{share} %", "middle"))
    parts.append(words_tag(LEFT - 30, TOP - 12, "weeks until a real stop is told (median)", "start"))
    parts.append(words_tag(x(ACROSS / 2), HEIGHT - 6, "steadily healing ulcers ever told, wrongly", "middle"))
    line = "L".join(f"{x(point.ever):.1f} {y(point.plateau_weeks):.1f}" for point in points)
    parts.append(f'<path d="M{line}" stroke-opacity=".6"/>')
    for point in points:
        at, up = x(point.ever), y(point.plateau_weeks)
        fill = ' fill="currentColor"' if point.is_chosen else ""
        title = f"<title>from {point.limit:g}: {point.ever:g} %, {point.plateau_weeks:g} weeks</title>"
        parts.append(f'<circle cx="{at:.1f}" cy="{up:.1f}" r="4"{fill}>{title}</circle>')
        words = f"{point.limit:g}: in use" if point.is_chosen else f"{point.limit:g}"
        parts.append(words_tag(at, up - CHOSEN_ROOM, words, "start" if point.is_chosen else "middle"))
    return "".join([*parts, "</svg>"])
