"""Pictures of the contact check, drawn from a plan's own layers: laid, dummy, empty, read."""

from __future__ import annotations

from collections.abc import Collection, Sequence

from offload.core.errors import ReliefError
from offload.core.foam.stack import Layer
from offload.core.plan.contact import CLEAN, METHODS, TOUCHED, UNREADABLE
from offload.core.sheets.drawing import Drawing, DrawingLayer, Hatch, Item, Path, Pen, Text, line
from offload.core.sheets.section import HATCH_OF_ROLE

__all__ = ["contact_pictures"]

WIDTH, HALF = 64.0, 15.0  # [mm] of foam shown; half the opening drawn
FOOT, LIFT, WORDS = 5.0, 5.0, 6.0  # [mm] tissue; how far a lifted cover hangs; room for the words
LETTERS = 2.6  # [mm]
MARK = Pen(1.1)
THIN = Pen(0.2)
ARROW = Pen(0.45)


def contact_pictures(stack: Sequence[Layer], cut_layers: Collection[str], method: str) -> dict[str, Drawing]:
    """Draw each step of the check and each result.

    Parameters
    ----------
    stack : sequence of Layer
        From the foot down; thicknesses are drawn true, lengths along the foot are not.
    cut_layers : collection of str
        Roles that the opening goes through.
    method : str
        ``marker`` or ``film``.

    Returns
    -------
    dict of str to Drawing
        Under ``lay``, ``dummy``, ``empty``, ``clean``, ``touched`` and ``unreadable``.

    Raises
    ------
    ReliefError
        If the method is not known.
    """
    if method not in METHODS:
        raise ReliefError(f"method: {method} given, must be one of {', '.join(METHODS)}")
    scene = _Scene(stack, cut_layers, method)
    return {
        "lay": scene.drawing("Laid: the cover lifted, the mark not yet pressed", scene.laid()),
        "dummy": scene.drawing("Dummy: the piece put back must be marked", scene.dummy()),
        "empty": scene.drawing("Empty: the same steps without the piece", scene.empty()),
        CLEAN: scene.drawing("Clean: no mark on base or walls", scene.read(CLEAN)),
        TOUCHED: scene.drawing("Touched: a mark on the base", scene.read(TOUCHED)),
        UNREADABLE: scene.drawing("Not readable: smeared", scene.read(UNREADABLE)),
    }


class _Scene:
    """The layers across one opening, heights from the base's lower face."""

    def __init__(self, stack: Sequence[Layer], cut_layers: Collection[str], method: str) -> None:
        self.stack, self.cut, self.method = stack, cut_layers, method
        self.total = sum(layer.thickness for layer in stack)
        top, levels = self.total, []
        for layer in stack:
            levels.append((layer, top - layer.thickness, top))
            top -= layer.thickness
        self.levels = levels
        cut = [(low, high) for layer, low, high in levels if layer.role in cut_layers]
        self.floor, self.roof = min(low for low, _ in cut), max(high for _, high in cut)
        self.under_cover = self.total - stack[0].thickness

    def drawing(self, title: str, items: Sequence[Item]) -> Drawing:
        height = WORDS + self.total + LIFT + FOOT + 7.0
        words = Text((0, 1.6), title, LETTERS)
        layers = DrawingLayer("CONTACT", tuple(items)), DrawingLayer("TEXT", (words,))
        moved = Drawing(title, WIDTH, height, layers[:1]).moved(0, WORDS)
        return Drawing(title, WIDTH, height, (*moved, layers[1]))

    def foam(self, lifted: bool) -> list[Item]:
        middle = WIDTH / 2
        items: list[Item] = []
        for layer, low, high in self.levels:
            up = LIFT if lifted and layer.role == "cover" else 0.0
            spans = [(0.0, WIDTH)]
            if layer.role in self.cut:
                spans = [(0.0, middle - HALF), (middle + HALF, WIDTH)]
            items += [_slab(a, b, low + up, high + up, HATCH_OF_ROLE[layer.role]) for a, b in spans]
        return items

    def marker(self, up: float) -> list[Item]:
        at = self.under_cover + up - 0.55
        return [line((WIDTH / 2 - HALF + 1, at), (WIDTH / 2 + HALF - 1, at), pen=MARK)]

    def film(self) -> list[Item]:
        left, right, low = WIDTH / 2 - HALF + 0.6, WIDTH / 2 + HALF - 0.6, self.floor + 0.5
        return [line((left, self.roof - 0.4), (left, low), (right, low), (right, self.roof - 0.4), pen=ARROW)]

    def foot(self) -> list[Item]:
        band = _slab(0, WIDTH, self.total, self.total + FOOT, Hatch.TISSUE, pen=None)
        sore = line((WIDTH / 2 - 7, self.total + 0.6), (WIDTH / 2 + 7, self.total + 0.6), pen=Pen(0.9))
        top = self.total + FOOT + 5.5
        shafts: list[Item] = []
        for x in (WIDTH / 2 - 16, WIDTH / 2, WIDTH / 2 + 16):
            shafts.append(line((x, top), (x, top - 4.5), pen=ARROW))
            shafts.append(line((x - 1.2, top - 3), (x, top - 4.5), (x + 1.2, top - 3), pen=ARROW))
        return [band, sore, *shafts]

    def tint(self, up: float = 0.0) -> list[Item]:
        return self.marker(up) if self.method == "marker" else self.film()

    def laid(self) -> list[Item]:
        return [*self.foam(lifted=True), *self.tint(LIFT)]

    def dummy(self) -> list[Item]:
        plug = [
            _slab(WIDTH / 2 - HALF + 1, WIDTH / 2 + HALF - 1, low, high, HATCH_OF_ROLE[layer.role])
            for layer, low, high in self.levels
            if layer.role in self.cut
        ]
        return [*self.foam(lifted=False), *plug, *self.tint(), *self.foot()]

    def empty(self) -> list[Item]:
        return [*self.foam(lifted=False), *self.tint(), *self.foot()]

    def read(self, found: str) -> list[Item]:
        middle, low = WIDTH / 2, self.floor + 0.6
        marks: list[Item] = []
        if found == TOUCHED:
            marks = [line((middle - 6, low), (middle + 5, low), pen=MARK)]
        if found == UNREADABLE:
            steps = range(9)
            smear = [(middle - 12 + 3 * step, low + (0.2, 1.4)[step % 2]) for step in steps]
            marks = [Path(tuple(smear), pen=Pen(0.6, (1.0, 0.8)))]
        return [*self.foam(lifted=True), *marks]


def _slab(a: float, b: float, low: float, high: float, hatch: Hatch, pen: Pen | None = THIN) -> Path:
    return Path(((a, low), (b, low), (b, high), (a, high)), closed=True, pen=pen, hatch=hatch)
