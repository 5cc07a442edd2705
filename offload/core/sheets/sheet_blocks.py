"""The blocks of words and marks that stand beside the insole on a template sheet."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date as Date

from offload.core.errors import ReliefError
from offload.core.plan.compute import ComputedPlan
from offload.core.sheets.drawing import (
    Box,
    Drawing,
    DrawingLayer,
    Item,
    Pen,
    Point,
    ScaleBar,
    Text,
    circle,
    line,
    rectangle,
    text_width,
    wrap,
)
from offload.core.sheets.plan_drawing import (
    FLOOR_PEN,
    INLAY_PEN,
    LESION_PEN,
    OUTLINE_PEN,
    TOP_PEN,
    ZONE_PEN,
)
from offload.core.sheets.section import layer_names
from offload.core.sheets.sheet_code import is_sheet_code

__all__ = [
    "CARD",
    "CHECK_SIZE",
    "Block",
    "SheetLabel",
    "cautions",
    "check_marks",
    "cut_order",
    "drawing_block",
    "flagged_checks",
    "heading",
    "layer_words",
    "legend",
    "register_mark",
]

# ISO/IEC 7810, format ID-1: 85.60 mm × 53.98 mm; corner radius 3.18 mm (2.88–3.48).
CARD = (85.60, 53.98, 3.18)
CHECK_SIZE = (64.0, 101.0)  # [mm] card upright with the vertical bar beside it
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
BODY, SMALL, LEAD = 2.7, 2.4, 1.3  # font sizes [mm] and line pitch as a multiple of them


@dataclass(frozen=True)
class SheetLabel:
    """What a sheet says about itself; no person's name has a place here.

    Parameters
    ----------
    code : str
        Sheet code with its check character.
    version : int
        Version of the plan, from 1.
    date : datetime.date or None
        Date of the sheet; None leaves a line to write on.
    signed : bool
        Whether the plan is signed.
    replaced_by : int or None
        The version that replaced this one.
    side_words : tuple of str
        The words for left and right.
    dangers : tuple of str
        What stands about the foot on the day of the print, worst first; the first is printed.
    """

    code: str
    version: int = 1
    date: Date | None = None
    signed: bool = False
    replaced_by: int | None = None
    side_words: tuple[str, str] = ("LEFT", "RIGHT")
    dangers: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if not is_sheet_code(self.code):
            raise ReliefError(
                f"sheet code: {self.code} given, must be six characters with a fitting check character"
            )
        if self.version < 1:
            raise ReliefError(f"plan version: {self.version} given, must be 1 or more")
        if self.replaced_by is not None and self.replaced_by <= self.version:
            raise ReliefError(
                f"replaced by: {self.replaced_by} given, must be above the version, {self.version}"
            )

    @property
    def warning(self) -> str | None:
        """What must be printed across the sheet, if anything."""
        if self.replaced_by is not None:
            return f"REPLACED by v{self.replaced_by}"
        return None if self.signed else "NOT SIGNED – do not cut"

    @property
    def day(self) -> str:
        """The date in words, or a line to write it on."""
        d = self.date
        return "date ____________" if d is None else f"{d.day} {MONTHS[d.month - 1]} {d.year}"

    def side_word(self, side: str) -> str:
        """The word for the foot's side."""
        return self.side_words[0] if side == "left" else self.side_words[1]


@dataclass(frozen=True)
class Block:
    """Items from the upper left corner (0, 0) downward, and the height they take [mm]."""

    height: float
    items: tuple[Item, ...]
    name: str = ""

    def at(self, left: float, top: float) -> tuple[Item, ...]:
        """Return the items moved to a place on the sheet."""
        (moved,) = Drawing("block", 1, 1, (DrawingLayer("TEXT", self.items),)).moved(left, top)
        return moved.items


def _fitting(text: str, size: float, width: float, *, bold: bool = False) -> float:
    """Return the size, reduced if the line would be wider than `width`."""
    return min(size, size * width / max(text_width(text, size, bold=bold), 1e-9))


def _paragraphs(
    paragraphs: Sequence[str], width: float, size: float = BODY, title: str = "", name: str = ""
) -> Block:
    items: list[Item] = []
    y = 0.0
    if title:
        y -= BODY + 0.8
        items.append(Text((0, y), title, BODY + 0.2, bold=True))
        y -= 1.0
    for paragraph in paragraphs:
        for row in wrap(paragraph, size, width):
            y -= size * LEAD
            items.append(Text((0, y), row, size))
        y -= 0.6
    return Block(-y + 1.0, tuple(items), name or title or paragraphs[0])


def heading(
    plan: ComputedPlan, imprint: SheetLabel, what: str, pages: tuple[int, int], width: float
) -> Block:
    """Return warning, standing danger, side, code, what the page is for, version, date and page."""
    items: list[Item] = []
    y = 0.0
    if imprint.warning:
        size = _fitting(imprint.warning, 5.0, width - 4, bold=True)
        items.append(rectangle(Box(0.3, y - 8.0, width - 0.3, y - 0.3), pen=Pen(0.6)))
        items.append(Text((width / 2, y - 4.2 - size * 0.34), imprint.warning, size, "middle", bold=True))
        y -= 10.0
    for row in (
        wrap(f"Standing danger: {imprint.dangers[0]}", BODY, width, bold=True) if imprint.dangers else ()
    ):
        y -= BODY * LEAD
        items.append(Text((0, y), row, BODY, bold=True))
    word = imprint.side_word(plan.spec.side)
    size = _fitting(word, 12.0, width * 0.55, bold=True)
    items.append(Text((0, y - 9.5), word, size, bold=True))
    beside = text_width(word, size, bold=True) + 2
    items.append(
        Text((beside, y - 9.5), "foot side up", _fitting("foot side up", 4.6, width - beside), bold=True)
    )
    y -= 13.0
    items.append(Text((0, y - 5.5), "sheet", 3.0))
    items.append(Text((9.5, y - 5.5), imprint.code, 8.0, bold=True))
    y -= 8.0
    for row in wrap(what, 3.4, width, bold=True):
        y -= 3.4 * LEAD
        items.append(Text((0, y), row, 3.4, bold=True))
    y -= 1.0
    labels = ", ".join(lesion.label for lesion in plan.spec.lesions)
    many = "Ulcers" if len(plan.spec.lesions) > 1 else "Ulcer"
    for row in (
        f"Plan version {imprint.version} · {imprint.day}",
        f"{many} {labels} · page {pages[0]} of {pages[1]}",
    ):
        y -= BODY * LEAD
        items.append(Text((0, y), row, BODY))
    return Block(-y + 2.5, tuple(items))


def layer_words(plan: ComputedPlan, index: int) -> str:
    """Return a layer in words: name, thickness and foam."""
    layer = plan.spec.stack[index]
    return f"{layer_names(plan)[index]}, {layer.thickness:g} mm, {layer.foam}"


def legend(plan: ComputedPlan, width: float) -> Block:
    """Return what each kind of line means."""
    rows = [
        (OUTLINE_PEN, "insole outline"),
        (TOP_PEN, "cut line on the layer's top face (foot side)"),
        (FLOOR_PEN, "where the wall meets the lower face"),
        (LESION_PEN, "ulcer, stippled"),
        (ZONE_PEN, "zone lines"),
    ]
    if plan.spec.bevel >= 90:
        rows[2] = (FLOOR_PEN, "lower face: the wall is upright")
    if any(layer.inlays for layer in plan.spec.stack):
        rows.insert(1, (INLAY_PEN, "inlay, hatched along its edge: hole and piece"))
    items: list[Item] = []
    y = 0.0
    for pen, words in rows:
        y -= 3.9
        items.append(line((0, y + 0.9), (11, y + 0.9), pen=pen))
        items.append(Text((13, y), words, _fitting(words, SMALL + 0.1, width - 13)))
    return Block(-y + 2.0, tuple(items))


def cut_order(plan: ComputedPlan, imprint: SheetLabel, cut_index: int, width: float) -> Block:
    """Return the steps of the cut."""
    names = layer_names(plan)
    order = plan.sheet_indices
    layer = plan.spec.stack[cut_index]
    place = order.index(cut_index)
    steps = [
        "Measure both bars and lay a card on its outline. If one is off, do not cut: print again at 100 %."
    ]
    steps.append(
        f"Lay the sheet on the {names[cut_index]} layer ({layer.thickness:g} mm, {layer.foam}), foot side "
        "up, "
        f"{imprint.side_word(plan.spec.side)}."
    )
    for number, inlay in enumerate(layer.inlays, start=1):
        which = f" {number}" if len(layer.inlays) > 1 else ""
        steps.append(
            f"Cut the hole of inlay{which} along its broken line, blade upright. Cut the piece from "
            f"{inlay.foam}, {layer.thickness:g} mm, on the same line, foot side up; glue it in flush. A part "
            "too small for its words gets code and side by hand."
        )
    if cut_index not in plan.cut_indices:
        steps.append(f"No opening is cut in the {names[cut_index]}.")
    elif plan.spec.bevel >= 90:
        steps.append("Cut along the solid line, blade upright.")
    else:
        steps.append(
            f"Cut along the solid line, the blade at {plan.spec.bevel:g}° to the surface, running inward and "
            "down "
            "to the dashed line."
        )
    notches = [", ".join(o.labels) for o in plan.openings if o.open_to_edge]
    if notches and cut_index in plan.cut_indices:
        steps.append(f"The opening under {' and '.join(notches)} runs out at the insole's edge.")
    if place + 1 < len(order):
        steps.append(f"Then cut the {names[order[place + 1]]} layer from its own sheet.")
    cover = "The cover has no opening." if plan.spec.stack[0].inlays else "The cover stays whole."
    steps.append(f"{cover} Compare with the section, then type code and side before fitting.")
    whole = "Cut order" if len(order) == 1 else "Cut order: " + ", then ".join(names[i] for i in order)
    return _paragraphs(
        [f"{i}. {step}" for i, step in enumerate(steps, start=1)],
        width,
        title=whole,
        name=f"cut order {cut_index}",
    )


def cautions(plan: ComputedPlan, width: float) -> Block:
    """Return the notice of the plan, with what the sheet is not."""
    return _paragraphs([f"{plan.notice} Not a diagnosis."], width, SMALL, title="Cautions")


def flagged_checks(plan: ComputedPlan, width: float, severity: str) -> list[Block]:
    """Return one block for each flagged check of a severity."""
    flagged = [check for check in plan.checks if not check.passed and check.severity == severity]
    # A check of the estimate begins with the word itself.
    lines = [f"Flagged: {check.message.removeprefix('Flagged: ')}" for check in flagged]
    return [_paragraphs([line], width, SMALL + 0.1) for line in lines]


def drawing_block(drawing: Drawing) -> Block:
    """Return a small drawing as a block; its layers are merged into one."""
    items = tuple(item for layer in drawing.moved(0, -drawing.height - 1.5) for item in layer.items)
    return Block(drawing.height + 3.5, items, drawing.title)


def check_marks(corner: Point) -> tuple[Item, ...]:
    """Return the card outline, upright, and the vertical bar beside it, from the lower left corner up."""
    x, y = corner
    length, breadth, radius = CARD
    words = (
        ("Card check", True),
        ("Lay a bank-size card", False),
        ("(ID-1, 85.60 × 53.98 mm)", False),
        ("here. It must fit the line", False),
        ("all round.", False),
        ("", False),
        ("Bar check", True),
        ("Both bars must measure", False),
        ("99.5–100.5 mm.", False),
        ("", False),
        ("across  __________ mm", False),
        ("", False),
        ("along    __________ mm", False),
    )
    card = rectangle(Box(x, y, x + breadth, y + length), radius=radius, pen=Pen(0.2))
    items: list[Item] = [card, ScaleBar((x + breadth + 8.0, y), vertical=True, label="100 mm")]
    at = y + length - 13.0
    for text, bold in words:
        if text:
            items.append(Text((x + 5, at), text, 3.0, bold=bold))
        at -= 4.4
    return tuple(items)


def register_mark(at: Point) -> tuple[Item, ...]:
    """Return a cross in a ring, to lay two pages over each other."""
    x, y = at
    pen = Pen(0.15)
    return (
        line((x - 4, y), (x + 4, y), pen=pen),
        line((x, y - 4), (x, y + 4), pen=pen),
        circle(at, 2.0, pen=pen),
    )
