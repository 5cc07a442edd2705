"""The printed grid on which an insole is drawn round, so that its outline is read off in millimetres."""

from __future__ import annotations

from offload.core.errors import ReliefError
from offload.core.shapes.imprint import HOLES
from offload.core.sheets.alignment import AXIS_PEN, hole_mark
from offload.core.sheets.drawing import Box, Drawing, DrawingLayer, Item, Pen, ScaleBar, Text, line
from offload.core.sheets.sheet_layout import PAPERS

__all__ = ["grid_drawing"]

GRID_PAPERS = ("A4", "A3", "Letter")
BELOW = 16.0  # [mm] of paper under the heel line
EDGE = 10.0  # [mm] that printers leave white
NOTICE = "Supports licensed judgement; it is not a diagnosis. Follow your local protocol."


def grid_drawing(paper: str = "A4") -> Drawing:
    """Return a grid on which an insole is laid and drawn round, to read its outline off in mm.

    Parameters
    ----------
    paper : str
        ``A4``, ``A3`` or ``Letter``.

    Returns
    -------
    Drawing

    Raises
    ------
    ReliefError
        If the paper is not one of these.
    """
    if paper not in GRID_PAPERS:
        raise ReliefError(f"paper: {paper!r} given; {', '.join(GRID_PAPERS)} is allowed")
    width, height = PAPERS[paper]
    middle, top = width / 2, height - EDGE - 16.0
    area = Box(EDGE + 10.0, BELOW, width - EDGE - 10.0, top)
    items: list[Item] = []
    half = int((area.width / 2) // 10) * 10
    for across in range(-half, half + 1, 10):
        pen = AXIS_PEN if across == 0 else Pen(0.2 if across % 50 == 0 else 0.1, shade=0.5)
        items.append(line((middle + across, area.bottom), (middle + across, area.top), pen=pen))
        items.append(Text((middle + across, area.bottom - 3.6), f"{across}", 2.4, "middle", shade=0.3))
    for along in range(0, int(area.height) + 1, 10):
        pen = Pen(0.5) if along == 0 else Pen(0.2 if along % 50 == 0 else 0.1, shade=0.5)
        y = area.bottom + along
        items.append(line((middle - half, y), (middle + half, y), pen=pen))
        items.append(Text((middle - half - 1.5, y - 0.8), f"{along}", 2.4, "end", shade=0.3))
    for hole in HOLES:
        items += hole_mark((middle + hole[0], area.bottom + hole[1]), hole[1])
    words = (
        "Grid for the outline of an insole. Print at 100 %, without fitting; both bars must measure 99.5 to "
        "100.5 mm.",
        "Foot side up, heel edge on the thick line, long axis on the middle line. Draw round it, then read "
        "off points: across, along.",
        "Across counts positive towards the little toe, negative towards the big toe. " + NOTICE,
    )
    items += [Text((EDGE, height - EDGE - 4.0 * n - 2.0), text, 2.6) for n, text in enumerate(words)]
    items += [
        ScaleBar((EDGE, 4.0), label="100 mm across"),
        ScaleBar((width - EDGE - 4.0, BELOW + 8.0), vertical=True, label="100 mm along"),
    ]
    return Drawing(f"Insole grid, {paper}", width, height, (DrawingLayer("grid", tuple(items)),))
