"""Drawings to a PDF at true size, one page each."""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence
from io import BytesIO

from reportlab.pdfgen.canvas import Canvas

from offload.core.errors import ReliefError
from offload.core.sheets.drawing import HATCH_TILES, Box, Drawing, Hatch, Path, Pen, Text

__all__ = ["latin", "write_pdf"]

POINTS_PER_MM = 72 / 25.4
SUBSTITUTED = "Some characters of this sheet are not in its fonts and stand as ? or without their marks."


def write_pdf(drawings: Sequence[Drawing]) -> bytes:
    """Write `drawings` as the pages of one PDF.

    Parameters
    ----------
    drawings : sequence of Drawing
        At least one; each page has the size of its drawing [mm].

    Returns
    -------
    bytes
        The file. It holds no time stamp and no random id, and asks the viewer to print without scaling.

    Raises
    ------
    ReliefError
        If there is no drawing.

    Notes
    -----
    1 mm = 72/25.4 points. `PrintScaling None` (ISO 32000-1, table 150) is only a wish to the viewer: the
    check bars on the sheet are what decides. The built-in fonts cover Western European letters; others lose
    their marks or become `?`, and the page then says so.
    """
    if not drawings:
        raise ReliefError("pdf: no drawing given, at least 1 is needed")
    out = BytesIO()
    canvas = Canvas(out, invariant=1, pageCompression=1, initialFontName="Helvetica")
    canvas.setTitle(latin(drawings[0].title)[0])
    canvas.setViewerPreference("PrintScaling", "None")
    for drawing in drawings:
        canvas.setPageSize((drawing.width * POINTS_PER_MM, drawing.height * POINTS_PER_MM))
        canvas.saveState()
        canvas.scale(POINTS_PER_MM, POINTS_PER_MM)
        canvas.setLineCap(1)
        canvas.setLineJoin(1)
        complete = True
        for layer in drawing.layers:
            for item in layer.primitives():
                if isinstance(item, Path):
                    _draw_path(canvas, item)
                else:
                    complete &= _draw_text(canvas, item)
        if not complete:
            _draw_text(canvas, Text((5, 3), SUBSTITUTED, 2.2))
        canvas.restoreState()
        canvas.showPage()
    canvas.save()
    return out.getvalue()


def latin(text: str) -> tuple[str, bool]:
    """Return `text` in the built-in fonts' character set, and whether nothing was lost."""
    out, complete = [], True
    for character in unicodedata.normalize("NFC", text):
        if _has(character):
            out.append(character)
            continue
        complete = False
        plain = "".join(c for c in unicodedata.normalize("NFKD", character) if _has(c))
        out.append(plain or "?")
    return "".join(out), complete


def _has(character: str) -> bool:
    try:
        character.encode("cp1252")
    except UnicodeEncodeError:
        return False
    return True


def _draw_path(canvas: Canvas, item: Path) -> None:
    outline = canvas.beginPath()
    outline.moveTo(*item.points[0])
    for point in item.points[1:]:
        outline.lineTo(*point)
    if item.closed:
        outline.close()
    if item.hatch is not None:
        canvas.saveState()
        canvas.clipPath(outline, stroke=0, fill=0)
        _draw_hatch(canvas, item.hatch, item.bounds)
        canvas.restoreState()
    if item.pen is not None:
        _set_pen(canvas, item.pen)
        canvas.drawPath(outline, stroke=1, fill=0)


def _set_pen(canvas: Canvas, pen: Pen) -> None:
    canvas.setStrokeGray(pen.shade)
    canvas.setLineWidth(pen.width)
    canvas.setDash(list(pen.dash) or [])


def _draw_hatch(canvas: Canvas, hatch: Hatch, area: Box) -> None:
    tile = HATCH_TILES[hatch]
    _set_pen(canvas, Pen(tile.width))
    canvas.setFillGray(0)
    # Tiles are counted from the sheet's origin, so neighbouring pieces of one layer join without a step.
    columns = range(int(area.left // tile.size), int(area.right // tile.size) + 1)
    rows = range(int(area.bottom // tile.size), int(area.top // tile.size) + 1)
    for column in columns:
        for row in rows:
            x, y = column * tile.size, row * tile.size
            if tile.lines:
                canvas.lines([(x + a, y + b, x + c, y + d) for a, b, c, d in tile.lines])
            for dx, dy, radius in tile.dots:
                canvas.circle(x + dx, y + dy, radius, stroke=0, fill=1)


def _draw_text(canvas: Canvas, item: Text) -> bool:
    text, complete = latin(item.text)
    canvas.saveState()
    canvas.translate(*item.at)
    if item.angle:
        canvas.rotate(item.angle)
    canvas.setFillGray(item.shade)
    canvas.setFont("Helvetica-Bold" if item.bold else "Helvetica", item.size)
    draw = {"start": canvas.drawString, "middle": canvas.drawCentredString, "end": canvas.drawRightString}
    draw[item.anchor](0, 0, text)
    canvas.restoreState()
    return complete
