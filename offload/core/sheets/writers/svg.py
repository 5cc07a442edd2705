"""One drawing to an SVG in which one unit is one mm."""

from __future__ import annotations

import hashlib
from xml.sax.saxutils import escape, quoteattr

from offload.core.sheets.drawing import HATCH_TILES, Drawing, Hatch, Path, Text

__all__ = ["write_svg"]


def write_svg(drawing: Drawing) -> bytes:
    """Write `drawing` as SVG.

    Parameters
    ----------
    drawing : Drawing
        Any drawing.

    Returns
    -------
    bytes
        UTF-8 without an XML declaration, so that it can also stand inside a page.

    Notes
    -----
    `width` and `height` are in mm and the view box has the same figures. Only presentation attributes are
    used, no `style`, so a strict content security policy lets it pass; ink is `currentColor`, so it follows
    the page's theme. Ids carry a digest of the drawing: several drawings can stand in one page.
    """
    prefix = "h" + hashlib.sha256(repr(drawing).encode()).hexdigest()[:8]
    height = drawing.height
    size = (
        f'width="{_n(drawing.width)}mm" height="{_n(height)}mm" viewBox="0 0 {_n(drawing.width)} '
        f'{_n(height)}"'
    )
    out = [
        f'<svg xmlns="http://www.w3.org/2000/svg" {size} role="img" aria-label={quoteattr(drawing.title)}'
        ' fill="none" stroke-linecap="round" stroke-linejoin="round">',
        f"<title>{escape(drawing.title)}</title>",
    ]
    used = {
        i.hatch
        for lay in drawing.layers
        for i in lay.primitives()
        if isinstance(i, Path) and i.hatch is not None
    }
    if used:
        out += ["<defs>", *(_pattern(hatch, prefix) for hatch in sorted(used)), "</defs>"]
    for layer in drawing.layers:
        name = layer.name.lower().replace("_", "-")
        out.append(f'<g class="drawing-{escape(name)}">')
        for item in layer.primitives():
            out.append(_path(item, height, prefix) if isinstance(item, Path) else _text(item, height))
        out.append("</g>")
    out.append("</svg>\n")
    return "\n".join(out).encode()


def _n(value: float) -> str:
    text = f"{value:.6f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def _pattern(hatch: Hatch, prefix: str) -> str:
    tile = HATCH_TILES[hatch]
    s = tile.size
    marks = []
    for x1, y1, x2, y2 in tile.lines:
        dx, dy = x2 - x1, y2 - y1
        # Longer than the tile and once to each side, so the corners of a tile are not cut thin.
        for shift in (-s, 0, s):
            ends = (x1 - dx + shift, s - (y1 - dy), x2 + dx + shift, s - (y2 + dy))
            marks.append(
                '<line x1="{}" y1="{}" x2="{}" y2="{}" stroke="currentColor" stroke-width="{}"/>'.format(
                    *(_n(v) for v in ends), _n(tile.width)
                )
            )
    for x, y, radius in tile.dots:
        marks.append(f'<circle cx="{_n(x)}" cy="{_n(s - y)}" r="{_n(radius)}" fill="currentColor"/>')
    return (
        f'<pattern id="{prefix}-{hatch.value}" width="{_n(s)}" height="{_n(s)}" '
        'patternUnits="userSpaceOnUse">' + "".join(marks) + "</pattern>"
    )


def _path(item: Path, height: float, prefix: str) -> str:
    points = " ".join(f"{_n(x)},{_n(height - y)}" for x, y in item.points)
    tag = "polygon" if item.closed else "polyline"
    fill = f' fill="url(#{prefix}-{item.hatch.value})"' if item.hatch is not None else ""
    stroke = ""
    if item.pen is not None:
        stroke = f' stroke="currentColor" stroke-width="{_n(item.pen.width)}"'
        if item.pen.dash:
            stroke += ' stroke-dasharray="{}"'.format(" ".join(_n(d) for d in item.pen.dash))
        if item.pen.shade:
            stroke += f' stroke-opacity="{_n(1 - item.pen.shade)}"'
    return f'<{tag} points="{points}"{fill}{stroke}/>'


def _text(item: Text, height: float) -> str:
    x, y = _n(item.at[0]), _n(height - item.at[1])
    turn = f' transform="rotate({_n(-item.angle)} {x} {y})"' if item.angle else ""
    anchor = f' text-anchor="{item.anchor}"' if item.anchor != "start" else ""
    weight = ' font-weight="bold"' if item.bold else ""
    faint = f' fill-opacity="{_n(1 - item.shade)}"' if item.shade else ""
    return (
        f'<text x="{x}" y="{y}" font-family="Helvetica, Arial, sans-serif" font-size="{_n(item.size)}"'
        f' fill="currentColor"{anchor}{weight}{faint}{turn}>{escape(item.text)}</text>'
    )
