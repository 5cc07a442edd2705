"""A word-sized line of the last areas, written by hand: a page shows hundreds, so no plotting library."""

import math
from collections.abc import Sequence
from datetime import date
from xml.sax.saxutils import escape

from clinic.charts.errors import ChartError

__all__ = ["sparkline_svg"]


def sparkline_svg(
    visits: Sequence[tuple[date, float | None]],
    *,
    width: int = 96,
    height: int = 24,
    label: str | None = None,
) -> str:
    """Draw areas on a zero-based axis as one SVG element to put into a page.

    Parameters
    ----------
    visits : sequence of (day, area)
        In order of days; None for a visit without an area, which leaves a gap. [any one unit]
    width, height : int
        Size. [px]
    label : str or None
        Spoken in place of the picture; None hides it from screen readers, where a figure stands beside it.

    Returns
    -------
    str
        SVG in ``currentColor`` without style attributes, so it obeys a strict content policy.

    Raises
    ------
    ChartError
        If the size is under 8 px, days do not rise, or an area is negative or not finite.

    Notes
    -----
    x goes by date, so an irregular week shows. The last area is a dot.

    Examples
    --------
    >>> from datetime import date
    >>> from clinic.charts.sparkline import sparkline_svg
    >>> drawn = sparkline_svg([(date(2026, 1, 5), 2.4), (date(2026, 1, 12), 1.9)], label='2.4 to 1.9 cm²')
    >>> drawn[:50]
    '<svg class="spark" width="96" height="24" viewBox='
    """
    if min(width, height) < 8:
        raise ChartError(f"size: {width} × {height} px, at least 8 × 8 needed")
    for (before, _), (after, _) in zip(visits, visits[1:], strict=False):
        if after <= before:
            raise ChartError(f"visits: {after.isoformat()} follows {before.isoformat()}, days must rise")
    for day, area in visits:
        if area is not None and not (math.isfinite(area) and area >= 0):
            raise ChartError(f"area of {day.isoformat()}: {area:g} is not 0 or more")
    areas = [area for _, area in visits if area is not None]
    spoken = (
        'aria-hidden="true"'
        if label is None
        else f'role="img" aria-label="{escape(label, {chr(34): "&quot;"})}"'
    )
    head = (
        f'<svg class="spark" width="{width}" height="{height}" viewBox="0 0 {width} {height}" {spoken} '
        'fill="none" stroke="currentColor" stroke-width="1.5" stroke-linecap="round" stroke-linejoin="round">'
    )
    if not areas:
        return f"{head}</svg>"
    margin = 3.0
    first, top = visits[0][0], max(areas) or 1.0
    days = max(1, (visits[-1][0] - first).days)
    path: list[str] = []
    pen_down = False
    x = y = 0.0
    for day, area in visits:
        if area is None:
            pen_down = False
            continue
        x = margin + (width - 2 * margin) * (day - first).days / days
        y = height - margin - (height - 2 * margin) * area / top
        path.append(f"{'L' if pen_down else 'M'}{x:.1f} {y:.1f}")
        pen_down = True
    # An area between two gaps is a line of no length; its round caps make it a dot.
    drawn = "".join(
        step + ("h0" if step[0] == "M" and (i + 1 == len(path) or path[i + 1][0] == "M") else "")
        for i, step in enumerate(path)
    )
    dot = f'<circle cx="{x:.1f}" cy="{y:.1f}" r="2" fill="currentColor" stroke="none"/>'
    return f'{head}<path d="{drawn}"/>{dot}</svg>'
