"""The printed reference: frames of known size to lay beside a wound or an insole, with bars that prove
the print.
"""

from __future__ import annotations

from offload.core.errors import ReliefError
from offload.core.sheets.drawing import Box, Drawing, DrawingLayer, Item, Path, Pen, ScaleBar, Text, rectangle
from offload.core.sheets.sheet_layout import PAPERS

__all__ = ["REFERENCE_FRAME", "reference_drawing"]

REFERENCE_FRAME = (
    80.0,
    50.0,
)  # [mm] outer edges of the black frame; under ID-1 so that both lie beside a foot
BAND = 8.0  # [mm] wider than the reach in which an edge is looked for, so that only the outer edge is found
NOTICE = "Supports licensed judgement; it is not a diagnosis. Follow your local protocol."


def reference_drawing(paper: str = "A4") -> Drawing:
    """Sheet with four frames to cut out, and two 100 mm bars.

    Parameters
    ----------
    paper : str
        ``A4`` or ``Letter``.

    Returns
    -------
    Drawing

    Raises
    ------
    ReliefError
        If the paper is not one of these.
    """
    if paper not in ("A4", "Letter"):
        raise ReliefError(f"paper: {paper!r} given; A4 or Letter is allowed")
    width, height = PAPERS[paper]
    items: list[Item] = [
        Text((15, height - 20), "Reference frames for photographs", 6.0, bold=True),
        Text(
            (15, height - 28),
            "Print at 100 %, without fitting to the page. Both bars must measure 99.5 to 100.5 mm.",
            3.4,
        ),
        Text(
            (15, height - 34),
            "Cut a frame out along the dashed line. Lay it flat in the plane of the ulcer, black side up.",
            3.4,
        ),
        Text((15, height - 40), "One frame for one patient: throw it away after use.", 3.4),
    ]
    for column in range(2):
        for row in range(2):
            items += _frame((15 + column * 92.0, height - 112 - row * 64.0))
    items += [
        ScaleBar((15, 62), label="100 mm across"),
        ScaleBar((150, 22), vertical=True, label="100 mm along"),
        Text((15, 45), "across __________ mm     along __________ mm", 3.4),
        Text((15, 14), NOTICE, 2.8),
    ]
    return Drawing(f"Reference frames, {paper}", width, height, (DrawingLayer("reference", tuple(items)),))


def _frame(corner: tuple[float, float]) -> list[Item]:
    """A black band whose outer edges are the reference, its words inside, its cutting line outside."""
    x, y = corner
    w, h = REFERENCE_FRAME
    inset = BAND / 2
    band = Path(
        (
            (x + inset, y + inset),
            (x + w - inset, y + inset),
            (x + w - inset, y + h - inset),
            (x + inset, y + h - inset),
        ),
        closed=True,
        pen=Pen(BAND),
    )
    cut = rectangle(Box(x - 5, y - 5, x + w + 5, y + h + 5), pen=Pen(0.2, (2.0, 1.5)))
    return [
        band,
        cut,
        Text((x + w / 2, y + h / 2 + 2), f"{w:g} × {h:g} mm", 5.0, "middle", bold=True),
        Text((x + w / 2, y + h / 2 - 5), "outer edge of the black band", 3.0, "middle"),
    ]
