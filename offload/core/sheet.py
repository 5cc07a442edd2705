"""The 1:1 template: one sheet for each layer to cut, tiled where the insole is longer than the paper."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from shapely import Polygon, box

from offload.core.drawing import (
    Box,
    Drawing,
    Item,
    Layer,
    Path,
    Pen,
    ScaleBar,
    Text,
    clipped,
    line,
    text_width,
)
from offload.core.errors import ReliefError
from offload.core.plan import ReliefPlan
from offload.core.plan_drawing import drawn_bounds, drawn_point, insole_layers
from offload.core.section import section_drawing
from offload.core.sheet_blocks import (
    CHECK_SIZE,
    Block,
    Imprint,
    cautions,
    check_marks,
    cut_order,
    drawing_block,
    flagged_checks,
    heading,
    legend,
    register_mark,
)

__all__ = ["PAPERS", "cutting_drawing", "template_drawing"]

PAPERS = {"A4": (210.0, 297.0), "A3": (297.0, 420.0), "Letter": (215.9, 279.4)}  # width, height [mm]
MARGIN = 10.0  # [mm] unprinted edge that common printers need; common practice, no source
GAP = 5.0  # [mm] between insole and words
BAR_STRIP = 10.0  # [mm] height kept for the horizontal bar
OVERLAP = 10.0  # [mm] of two tiles
WIDEST_WORDS = 105.0  # [mm] longer lines are hard to read


@dataclass(frozen=True)
class _Layout:
    """Where things stand on a page: the insole's window and the column of words, and the seams between tiles."""

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

    def under(self, tile: int) -> Box:
        """Room left free below a tile."""
        low, high = self.shown(tile)
        top = self.window.top - (high - low) - GAP
        bottom = self.window.bottom if self.stacked else self.paper.bottom + MARGIN + BAR_STRIP
        return Box(self.window.left, bottom, self.window.right, max(bottom, top))


def template_drawing(plan: ReliefPlan, imprint: Imprint, *, paper: str = "A4") -> tuple[Drawing, ...]:
    """Draw the pages of the template at true size.

    Parameters
    ----------
    plan : ReliefPlan
        The plan.
    imprint : Imprint
        Code, version, date and state of the sheet.
    paper : str
        ``A4``, ``A3`` or ``Letter``.

    Returns
    -------
    tuple of Drawing
        The pages, layer by layer from the foot down. Each page has both check bars, the card outline, code, side
        and warning, so that none can be used without them.

    Raises
    ------
    ReliefError
        If the paper is unknown or the insole is wider than it.

    Notes
    -----
    The insole stands upright, toes up, foot side up, the left foot mirrored. It is kept whole where it fits the
    printable height and leaves the horizontal bar free; otherwise it is tiled, the seam as near to the middle as a
    seam clear of every opening and zone line allows.
    """
    if paper not in PAPERS:
        raise ReliefError(f"paper: {paper} given, must be one of {', '.join(PAPERS)}")
    layout = _layout(plan, paper)
    sheets: list[_Page] = []
    waiting: dict[str, Block] = {}  # what found no room beside any insole; the same section waits once
    for index in plan.cut_indices:
        made, left = _pages_of_layer(plan, imprint, layout, index)
        sheets += made
        waiting |= {block.name: block for block in left}
    sheets += _pages_of_rest(plan, imprint, layout, list(waiting.values()))
    return tuple(
        _drawn(plan, imprint, layout, page, number, len(sheets))
        for number, page in enumerate(sheets, start=1)
    )


def cutting_drawing(plan: ReliefPlan, imprint: Imprint) -> Drawing:
    """Draw all cut layers over one another at true size, on a sheet as large as needed, for a cutting table.

    Parameters
    ----------
    plan : ReliefPlan
        The plan.
    imprint : Imprint
        Code, version, date and state of the sheet.

    Returns
    -------
    Drawing
        Layers ZONES, OUTLINE, LESION, CUT_<ROLE>_TOP and CUT_<ROLE>_FLOOR for each cut layer, TEXT, SCALE; and
        STATUS while the plan is not signed or has been replaced.
    """
    bounds = drawn_bounds(plan)
    words_width = 110.0
    left, bottom = MARGIN, MARGIN + BAR_STRIP
    blocks = []
    for index in plan.cut_indices:
        blocks += [
            heading(plan, imprint, index, (1, 1), words_width),
            cut_order(plan, imprint, index, words_width),
        ]
    blocks += [legend(plan, words_width), cautions(plan, words_width)]
    height = bottom + max(bounds.height, sum(block.height for block in blocks), CHECK_SIZE[1]) + MARGIN
    column = left + bounds.width + 2 * GAP
    width = column + words_width + MARGIN
    placed = Drawing("plan", width, height, insole_layers(plan)).moved(
        left - bounds.left, bottom - bounds.bottom
    )
    items = _flow(blocks, Box(column, 0, width - MARGIN, height - MARGIN))
    bars = (
        ScaleBar((column, MARGIN), label="100 mm"),
        ScaleBar((column - 2.5, bottom + 2), vertical=True, label="100 mm"),
    )
    window = Box(left, bottom, left + bounds.width, bottom + bounds.height)
    layers = (*_across(imprint, window), *placed, Layer("TEXT", tuple(items)), Layer("SCALE", bars))
    title = f"Relief plan {imprint.code}, {imprint.side_word(plan.spec.side)}, foot side up"
    return Drawing(title, width, height, layers)


def _layout(plan: ReliefPlan, paper: str) -> _Layout:
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
        return _Layout(sheet, window, beside, (bounds.bottom, bounds.top))
    window = Box(area.left, area.bottom + BAR_STRIP, area.left + bounds.width, area.top)
    return _Layout(sheet, window, beside, _seams(plan, bounds, window.height))


def _stacked(plan: ReliefPlan, sheet: Box, area: Box, bounds: Box) -> _Layout:
    """Return the layout for an insole too wide to leave a column: the words stand below it."""
    if bounds.width > area.width:
        raise ReliefError(
            f"template width: the insole is {bounds.width:.0f} mm wide, the limit on this paper is {area.width:.0f} mm"
        )
    split = area.bottom + BAR_STRIP + CHECK_SIZE[1] + GAP
    window = Box(area.left, split, area.left + bounds.width, area.top)
    column = Box(area.left, area.bottom + BAR_STRIP, area.right, split - GAP)
    return _Layout(sheet, window, column, _seams(plan, bounds, window.height))


def _bar_box(area: Box) -> Box:
    return Box(area.right - 100.0, area.bottom, area.right, area.bottom + BAR_STRIP - 2.0)


def _bar_is_free(plan: ReliefPlan, area: Box, bounds: Box) -> bool:
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


def _seams(plan: ReliefPlan, bounds: Box, tallest: float) -> tuple[float, ...]:
    """Return where the tiles meet: evenly, each seam moved to the nearest place clear of every opening."""
    if bounds.height <= tallest:
        return (bounds.bottom, bounds.top)
    count = 1 + math.ceil((bounds.height - tallest) / (tallest - OVERLAP))
    spans = [cut.top.polygon.bounds[1::2] for opening in plan.openings for cut in opening.layers]
    spans += [(y, y) for y in plan.insole.zone_lines]  # a seam on a zone line would hide it
    half = OVERLAP / 2 + 1.0
    spare = (tallest - OVERLAP) - bounds.height / count
    seams = [bounds.bottom]
    for k in range(1, count):
        even = bounds.bottom + bounds.height * k / count
        # Half of the spare to each side keeps every tile within the page whatever its neighbour does.
        reach = max(0.0, spare if count == 2 else spare / 2)
        tries = sorted(
            {0.0, *(step * sign for step in range(1, int(reach) + 1) for sign in (1, -1))}, key=abs
        )
        free = [
            t for t in tries if all(even + t + half < low or even + t - half > high for low, high in spans)
        ]
        seams.append(even + (free[0] if free else 0.0))
    return (*seams, bounds.top)


@dataclass(frozen=True)
class _Page:
    """What stands on one page: a tile of one layer's insole, or None for a page of words and sections alone."""

    index: int | None
    tile: int
    beside: tuple[Block, ...]
    under: tuple[Block, ...] = ()


def _pages_of_layer(
    plan: ReliefPlan, imprint: Imprint, layout: _Layout, index: int
) -> tuple[list[_Page], list[Block]]:
    """Return the pages of one layer and the blocks that found no room on them."""
    width = layout.words_width
    waiting = [cut_order(plan, imprint, index, width)]
    waiting += [
        drawing_block(section_drawing(plan, lesion.label, max_width=width)) for lesion in plan.spec.lesions
    ]
    waiting += flagged_checks(plan, width)
    head = heading(plan, imprint, index, (1, 1), width)  # as tall as with the real number of pages
    fixed = [head, cautions(plan, width), legend(plan, width)]
    pages = []
    for tile in range(len(layout.tiles)):
        beside, waiting = _take(waiting, layout.words.height - sum(block.height for block in fixed))
        free = layout.under(tile)
        under, waiting = _take(waiting, free.height if free.width >= width else 0.0)
        pages.append(_Page(index, tile, tuple(beside), tuple(under)))
    return pages, waiting


def _pages_of_rest(plan: ReliefPlan, imprint: Imprint, layout: _Layout, waiting: list[Block]) -> list[_Page]:
    width = layout.words_width
    fixed = heading(plan, imprint, None, (1, 1), width).height + cautions(plan, width).height
    pages = []
    while waiting:
        taken, waiting = _take(waiting, layout.rest.height - fixed)
        if not taken:  # a block taller than the page runs over its end rather than vanish
            taken, waiting = waiting[:1], waiting[1:]
        pages.append(_Page(None, 0, tuple(taken)))
    return pages


def _drawn(
    plan: ReliefPlan, imprint: Imprint, layout: _Layout, page: _Page, number: int, total: int
) -> Drawing:
    width = layout.words_width
    head, notice = heading(plan, imprint, page.index, (number, total), width), cautions(plan, width)
    area = layout.paper.grown(-MARGIN)
    layers: tuple[Layer, ...]
    if page.index is None:
        items, corner = _flow([head, *page.beside, notice], layout.rest), (area.left, layout.column.bottom)
        layers = _across(imprint, area)
    else:
        items = _flow([head, legend(plan, width), *page.beside, notice], layout.words)
        items += _flow(page.under, layout.under(page.tile))
        corner = layout.marks
        layers = _insole_page(plan, imprint, layout, page.index, page.tile, number)
    bar = _bar_box(area)
    marks = (*check_marks(corner), ScaleBar((bar.left, bar.bottom + 1.5), label="100 mm"))
    title = f"Relief template {imprint.code}, {imprint.side_word(plan.spec.side)}, foot side up"
    layers = (*layers, Layer("TEXT", tuple(items)), Layer("SCALE", marks))
    return Drawing(title, layout.paper.width, layout.paper.height, layers)


def _take(blocks: Sequence[Block], room: float) -> tuple[list[Block], list[Block]]:
    """Split blocks into those that fit, in their order, and those that wait."""
    taken: list[Block] = []
    waiting: list[Block] = []
    for block in blocks:
        if block.height <= room:
            taken.append(block)
            room -= block.height
        else:
            waiting.append(block)
    return taken, waiting


def _flow(blocks: Sequence[Block], column: Box) -> list[Item]:
    """Return the blocks' items set from the top of a column down."""
    items: list[Item] = []
    top = column.top
    for block in blocks:
        items += block.at(column.left, top)
        top -= block.height
    return items


def _insole_page(
    plan: ReliefPlan, imprint: Imprint, layout: _Layout, index: int, tile: int, number: int
) -> tuple[Layer, ...]:
    """Return the piece of the insole that one page shows, with its register marks."""
    bounds = drawn_bounds(plan)
    low, high = layout.tiles[tile]
    bottom, top = layout.shown(tile)
    dx, dy = layout.window.left - bounds.left, layout.window.top - top
    window = Box(layout.window.left, bottom + dy, layout.window.right, layout.window.top).grown(0.01)
    whole = Drawing("plan", layout.paper.width, layout.paper.height, insole_layers(plan, index)).moved(dx, dy)
    layers = [*_across(imprint, window)]
    for layer in whole:
        paths = clipped([i for i in layer.items if isinstance(i, Path)], window)
        texts = [
            i
            for i in layer.items
            if isinstance(i, Text) and window.bottom <= i.at[1] and i.at[1] + i.size <= window.top
        ]
        layers.append(Layer(layer.name, (*paths, *texts)))
    marks: list[Item] = []
    for seam, page, there in ((low, number - 1, low > bottom), (high, number, high < top)):
        if there:
            y = seam + dy
            marks += register_mark((window.left + 5, y)) + register_mark((window.right - 5, y))
            marks.append(line((window.left + 9, y), (window.right - 9, y), pen=Pen(0.15, (3.0, 1.5))))
            words = f"join pages {page} and {page + 1}: line on line, cross on cross"
            marks.append(Text(((window.left + window.right) / 2, y + 1.2), words, 2.4, "middle"))
    return (*layers, Layer("REGISTER", tuple(marks)))


def _across(imprint: Imprint, window: Box) -> tuple[Layer, ...]:
    """Return the warning across a window, faint and beneath the lines so that these stay readable."""
    if imprint.warning is None:
        return ()
    angle = math.degrees(math.atan2(window.height, window.width))
    size = min(
        16.0, 0.8 * math.hypot(window.width, window.height) / text_width(imprint.warning, 1.0, bold=True)
    )
    middle = ((window.left + window.right) / 2, (window.bottom + window.top) / 2)
    lean = math.radians(angle)
    at = (middle[0] + size * 0.34 * math.sin(lean), middle[1] - size * 0.34 * math.cos(lean))
    return (
        Layer("STATUS", (Text(at, imprint.warning, size, "middle", bold=True, angle=angle, shade=0.78),)),
    )
