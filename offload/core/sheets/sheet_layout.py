"""Where things stand on a template page: the insole's tiles, the words, the card and the bars."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from shapely import Polygon, box

from offload.core.errors import ReliefError
from offload.core.plan.compute import ComputedPlan
from offload.core.plan.inlays import inlays_in
from offload.core.sheets.drawing import Box
from offload.core.sheets.plan_drawing import drawn_bounds, drawn_point
from offload.core.sheets.sheet_blocks import CHECK_SIZE

__all__ = ["BAR_STRIP", "GAP", "MARGIN", "PAPERS", "SheetLayout", "sheet_layout"]

PAPERS = {"A4": (210.0, 297.0), "A3": (297.0, 420.0), "Letter": (215.9, 279.4)}  # width, height [mm]
MARGIN = 10.0  # [mm] unprinted edge that common printers need; common practice, no source
GAP = 5.0  # [mm] between insole and words
BAR_STRIP = 10.0  # [mm] height kept for the horizontal bar
OVERLAP = 10.0  # [mm] of two tiles
WIDEST_WORDS = 105.0  # [mm] longer lines are hard to read


@dataclass(frozen=True)
class SheetLayout:
    """Where things stand on a page: the insole's window and the column of words, and the seams between
    tiles.
    """

    paper: Box
    window: Box  # the largest piece of the insole a page can show
    column: Box
    seams: tuple[float, ...]  # y in the drawn frame, both ends included

    @property
    def tiles(self) -> list[tuple[float, float]]:
        """Where each tile starts and ends, in the drawn frame."""
        return list(zip(self.seams, self.seams[1:], strict=False))

    def shown(self, tile: int) -> tuple[float, float]:
        """What a page shows of the insole: its tile and half of each overlap, in the drawn frame."""
        low, high = self.tiles[tile]
        return (
            low if tile == 0 else low - OVERLAP / 2,
            high if tile == len(self.tiles) - 1 else high + OVERLAP / 2,
        )

    @property
    def stacked(self) -> bool:
        return self.window.bottom > self.column.top

    @property
    def words(self) -> Box:
        """Room of the words: the column without the card and the vertical bar."""
        c = self.column
        if self.stacked:
            return Box(c.left, c.bottom, c.right - CHECK_SIZE[0] - GAP, c.top)
        return Box(c.left, c.bottom + CHECK_SIZE[1] + 1, c.right, c.top)

    @property
    def words_width(self) -> float:
        return min(self.words.width, WIDEST_WORDS)

    @property
    def marks(self) -> tuple[float, float]:
        """Lower left corner of the card."""
        return (self.words.right + GAP if self.stacked else self.column.left, self.column.bottom)

    @property
    def rest(self) -> Box:
        """Room of the words on a page without an insole."""
        area = self.paper.grown(-MARGIN)
        return Box(area.left, self.column.bottom + CHECK_SIZE[1] + GAP, area.right, area.top)

    @property
    def bar(self) -> Box:
        """Room of the horizontal bar."""
        return _bar_box(self.paper.grown(-MARGIN))

    def under(self, tile: int) -> Box:
        """Room left free below a tile."""
        low, high = self.shown(tile)
        top = self.window.top - (high - low) - GAP
        bottom = self.window.bottom if self.stacked else self.paper.bottom + MARGIN + BAR_STRIP
        return Box(self.window.left, bottom, self.window.right, max(bottom, top))


def sheet_layout(plan: ComputedPlan, paper: str) -> SheetLayout:
    """Return the layout of a plan's pages on a paper, ``A4``, ``A3`` or ``Letter``.

    Raises
    ------
    ReliefError
        If the paper is unknown or the insole is wider than it.
    """
    if paper not in PAPERS:
        raise ReliefError(f"paper: {paper} given, must be one of {', '.join(PAPERS)}")
    width, height = PAPERS[paper]
    sheet = Box(0, 0, width, height)
    area = sheet.grown(-MARGIN)
    bounds = drawn_bounds(plan)
    column_left = area.left + bounds.width + GAP
    beside = Box(column_left, area.bottom + BAR_STRIP, area.right, area.top)
    if beside.width < CHECK_SIZE[0]:
        return _stacked(plan, sheet, area, bounds)
    if bounds.height <= area.height and _bar_is_free(plan, area, bounds):
        window = Box(area.left, area.top - bounds.height, area.left + bounds.width, area.top)
        return SheetLayout(sheet, window, beside, (bounds.bottom, bounds.top))
    window = Box(area.left, area.bottom + BAR_STRIP, area.left + bounds.width, area.top)
    return SheetLayout(sheet, window, beside, _seams(plan, bounds, window.height))


def _stacked(plan: ComputedPlan, sheet: Box, area: Box, bounds: Box) -> SheetLayout:
    """Return the layout for an insole too wide to leave a column: the words stand below it."""
    if bounds.width > area.width:
        raise ReliefError(
            f"template width: the insole is {bounds.width:.0f} mm wide, the limit on this paper is "
            f"{area.width:.0f} mm"
        )
    split = area.bottom + BAR_STRIP + CHECK_SIZE[1] + GAP
    window = Box(area.left, split, area.left + bounds.width, area.top)
    column = Box(area.left, area.bottom + BAR_STRIP, area.right, split - GAP)
    return SheetLayout(sheet, window, column, _seams(plan, bounds, window.height))


def _bar_box(area: Box) -> Box:
    return Box(area.right - 100.0, area.bottom, area.right, area.bottom + BAR_STRIP - 2.0)


def _bar_is_free(plan: ComputedPlan, area: Box, bounds: Box) -> bool:
    """Say whether the horizontal bar at the lower right stays clear of a whole insole at the upper left."""
    dx, dy = area.left - bounds.left, area.top - bounds.top
    outlines = [plan.insole.outline, *(cut.top for opening in plan.openings for cut in opening.layers)]
    b = _bar_box(area).grown(2.0)
    bar = box(b.left, b.bottom, b.right, b.top)
    for outline in outlines:
        ring = [drawn_point(p, plan.spec.side) for p in outline.exterior]
        if Polygon([(x + dx, y + dy) for x, y in ring]).intersects(bar):
            return False
    return True


def _seams(plan: ComputedPlan, bounds: Box, tallest: float) -> tuple[float, ...]:
    """Return where the tiles meet: evenly, each seam moved to the nearest place clear of every opening,
    inlay and zone line. Where nothing is clear of the inlays too, a seam crosses an inlay before an opening.
    """
    if bounds.height <= tallest:
        return (bounds.bottom, bounds.top)
    count = 1 + math.ceil((bounds.height - tallest) / (tallest - OVERLAP))
    spans = [cut.top.polygon.bounds[1::2] for opening in plan.openings for cut in opening.layers]
    spans += [(y, y) for y in plan.insole.zone_lines]  # a seam on a zone line would hide it
    inlays = [placed.inlay.region.polygon.bounds[1::2] for placed in inlays_in(plan.spec.stack)]
    spare = (tallest - OVERLAP) - bounds.height / count
    seams = [bounds.bottom]
    for k in range(1, count):
        even = bounds.bottom + bounds.height * k / count
        # Half of the spare to each side keeps every tile within the page whatever its neighbour does.
        reach = max(0.0, spare if count == 2 else spare / 2)
        tries = sorted(
            {0.0, *(step * sign for step in range(1, int(reach) + 1) for sign in (1, -1))}, key=abs
        )
        free = _free(tries, even, [*spans, *inlays]) or _free(tries, even, spans)
        seams.append(even + (free[0] if free else 0.0))
    return (*seams, bounds.top)


def _free(tries: Sequence[float], even: float, spans: Sequence[tuple[float, float]]) -> list[float]:
    """Return the shifts by which a seam and its overlap stand clear of every span [mm]."""
    half = OVERLAP / 2 + 1.0
    return [t for t in tries if all(even + t + half < low or even + t - half > high for low, high in spans)]
