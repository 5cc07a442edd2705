"""The 1:1 template: one sheet for each layer to cut, tiled where the insole is longer than the paper."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from offload.core.plan.compute import ComputedPlan
from offload.core.sheets.drawing import (
    Box,
    Drawing,
    DrawingLayer,
    Item,
    Path,
    Pen,
    ScaleBar,
    Text,
    clipped,
    line,
    text_width,
)
from offload.core.sheets.identity import identity_items
from offload.core.sheets.plan_drawing import drawn_bounds, insole_layers
from offload.core.sheets.section import section_drawing
from offload.core.sheets.sheet_blocks import (
    CHECK_SIZE,
    Block,
    SheetLabel,
    cautions,
    check_marks,
    cut_order,
    drawing_block,
    flagged_checks,
    heading,
    layer_words,
    legend,
    register_mark,
)
from offload.core.sheets.sheet_layout import BAR_STRIP, GAP, MARGIN, PAPERS, SheetLayout, sheet_layout

__all__ = ["PAPERS", "cutting_drawing", "template_drawing"]


def template_drawing(plan: ComputedPlan, imprint: SheetLabel, *, paper: str = "A4") -> tuple[Drawing, ...]:
    """Draw the pages of the template at true size.

    Parameters
    ----------
    plan : ComputedPlan
        The plan.
    imprint : SheetLabel
        Code, version, date and state of the sheet.
    paper : str
        ``A4``, ``A3`` or ``Letter``.

    Returns
    -------
    tuple of Drawing
        The pages, layer by layer from the foot down. Each page has both check bars, the card outline, code,
        side and warning, so that none can be used without them.

    Raises
    ------
    ReliefError
        If the paper is unknown or the insole is wider than it.

    Notes
    -----
    The insole stands upright, toes up, foot side up, the left foot mirrored. It is kept whole where it fits
    the printable height and leaves the horizontal bar free; otherwise it is tiled, the seam as near to the
    middle as a seam clear of every opening, inlay and zone line allows.
    """
    layout = sheet_layout(plan, paper)
    sheets: list[_Page] = []
    waiting: dict[str, Block] = {}  # what found no room beside any insole; the same section waits once
    for index in plan.sheet_indices:
        made, left = _pages_of_layer(plan, imprint, layout, index)
        sheets += made
        waiting |= {block.name: block for block in left}
    sheets += _pages_of_rest(plan, imprint, layout, list(waiting.values()))
    return tuple(
        _drawn(plan, imprint, layout, page, number, len(sheets))
        for number, page in enumerate(sheets, start=1)
    )


def cutting_drawing(plan: ComputedPlan, imprint: SheetLabel) -> Drawing:
    """Draw all cut layers over one another at true size, on a sheet as large as needed, for a cutting table.

    Parameters
    ----------
    plan : ComputedPlan
        The plan.
    imprint : SheetLabel
        Code, version, date and state of the sheet.

    Returns
    -------
    Drawing
        Layers ZONES, OUTLINE, LESION, CUT_<ROLE>_TOP and CUT_<ROLE>_FLOOR for each cut layer, IDENTITY,
        TEXT, SCALE;
        and STATUS while the plan is not signed or has been replaced.
    """
    bounds = drawn_bounds(plan)
    words_width = 110.0
    what = "Layers to cut: " + "; ".join(layer_words(plan, index) for index in plan.sheet_indices)
    blocks = [heading(plan, imprint, what, (1, 1), words_width), legend(plan, words_width)]
    blocks += [cut_order(plan, imprint, index, words_width) for index in plan.sheet_indices]
    blocks.append(cautions(plan, words_width))
    left, bottom = MARGIN, MARGIN + BAR_STRIP
    column = left + bounds.width + GAP
    top = bottom + max(bounds.height, sum(block.height for block in blocks) + CHECK_SIZE[1] + GAP)
    width, height = column + words_width + MARGIN, top + MARGIN
    drawn = (
        *insole_layers(plan),
        DrawingLayer("IDENTITY", identity_items(plan, imprint, plan.sheet_indices)),
    )
    placed = Drawing("plan", width, height, drawn).moved(left - bounds.left, top - bounds.top)
    items = _flow(blocks, Box(column, bottom, width - MARGIN, top))
    marks = (*check_marks((column, bottom)), ScaleBar((column, MARGIN + 1.5), label="100 mm"))
    window = Box(left, top - bounds.height, left + bounds.width, top)
    layers = (
        *_across(imprint, window),
        *placed,
        DrawingLayer("TEXT", tuple(items)),
        DrawingLayer("SCALE", marks),
    )
    title = f"Relief plan {imprint.code}, {imprint.side_word(plan.spec.side)}, foot side up"
    return Drawing(title, width, height, layers)


@dataclass(frozen=True)
class _Page:
    """What stands on one page: a tile of one layer's insole, or None for a page of words and sections
    alone.
    """

    index: int | None
    tile: int
    beside: tuple[Block, ...]
    under: tuple[Block, ...] = ()


def _pages_of_layer(
    plan: ComputedPlan, imprint: SheetLabel, layout: SheetLayout, index: int
) -> tuple[list[_Page], list[Block]]:
    """Return the pages of one layer and the blocks that found no room on them."""
    width = layout.words_width
    waiting = flagged_checks(plan, width, "error")
    waiting.append(cut_order(plan, imprint, index, width))
    waiting += [
        drawing_block(section_drawing(plan, lesion.label, max_width=width)) for lesion in plan.spec.lesions
    ]
    waiting += flagged_checks(plan, width, "warn")
    head = heading(
        plan, imprint, _what(plan, index), (1, 1), width
    )  # as tall as with the real number of pages
    fixed = [head, cautions(plan, width), legend(plan, width)]
    pages = []
    for tile in range(len(layout.tiles)):
        beside, waiting = _take(waiting, layout.words.height - sum(block.height for block in fixed))
        free = layout.under(tile)
        under, waiting = _take(waiting, free.height if free.width >= width else 0.0)
        pages.append(_Page(index, tile, tuple(beside), tuple(under)))
    return pages, waiting


def _what(plan: ComputedPlan, index: int | None) -> str:
    if index is None:
        return "Sections and notes"
    order = plan.sheet_indices
    return f"Layer {order.index(index) + 1} of {len(order)} to cut: {layer_words(plan, index)}"


def _pages_of_rest(
    plan: ComputedPlan, imprint: SheetLabel, layout: SheetLayout, waiting: list[Block]
) -> list[_Page]:
    width = layout.words_width
    fixed = heading(plan, imprint, _what(plan, None), (1, 1), width).height + cautions(plan, width).height
    pages = []
    while waiting:
        taken, waiting = _take(waiting, layout.rest.height - fixed)
        if not taken:  # a block taller than the page runs over its end rather than vanish
            taken, waiting = waiting[:1], waiting[1:]
        pages.append(_Page(None, 0, tuple(taken)))
    return pages


def _drawn(
    plan: ComputedPlan, imprint: SheetLabel, layout: SheetLayout, page: _Page, number: int, total: int
) -> Drawing:
    width = layout.words_width
    head = heading(plan, imprint, _what(plan, page.index), (number, total), width)
    notice = cautions(plan, width)
    area = layout.paper.grown(-MARGIN)
    layers: tuple[DrawingLayer, ...]
    if page.index is None:
        items, corner = _flow([head, *page.beside, notice], layout.rest), (area.left, layout.column.bottom)
        layers = _across(imprint, area)
    else:
        items = _flow([head, legend(plan, width), *page.beside, notice], layout.words)
        items += _flow(page.under, layout.under(page.tile))
        corner = layout.marks
        layers = _insole_page(plan, imprint, layout, page.index, page.tile, number)
    marks = (*check_marks(corner), ScaleBar((layout.bar.left, layout.bar.bottom + 1.5), label="100 mm"))
    title = f"Relief template {imprint.code}, {imprint.side_word(plan.spec.side)}, foot side up"
    layers = (*layers, DrawingLayer("TEXT", tuple(items)), DrawingLayer("SCALE", marks))
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
    plan: ComputedPlan, imprint: SheetLabel, layout: SheetLayout, index: int, tile: int, number: int
) -> tuple[DrawingLayer, ...]:
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
        layers.append(DrawingLayer(layer.name, (*paths, *texts)))
    own = DrawingLayer("IDENTITY", identity_items(plan, imprint, [index], low, high))
    layers += Drawing("identity", layout.paper.width, layout.paper.height, (own,)).moved(dx, dy)
    marks: list[Item] = []
    for seam, page, there in ((low, number - 1, low > bottom), (high, number, high < top)):
        if there:
            y = seam + dy
            marks += register_mark((window.left + 5, y)) + register_mark((window.right - 5, y))
            marks.append(line((window.left + 9, y), (window.right - 9, y), pen=Pen(0.15, (3.0, 1.5))))
            words = f"join pages {page} and {page + 1}: line on line, cross on cross"
            marks.append(Text(((window.left + window.right) / 2, y + 1.2), words, 2.4, "middle"))
    return (*layers, DrawingLayer("REGISTER", tuple(marks)))


def _across(imprint: SheetLabel, window: Box) -> tuple[DrawingLayer, ...]:
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
        DrawingLayer(
            "STATUS", (Text(at, imprint.warning, size, "middle", bold=True, angle=angle, shade=0.78),)
        ),
    )
