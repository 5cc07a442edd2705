"""The labelled strip of events under a time axis: who stands in which row, and how it is drawn."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from matplotlib.axes import Axes

from clinic.charts.errors import ChartError
from clinic.charts.style import EDGE, INK, SMALL, SOFT, SURFACE, THIN, points

__all__ = ["ROW_HEIGHT", "ChartEvent", "Placed", "draw_strip", "placed"]

ROW_HEIGHT = 18.0
"""Height of one row of labels. [px]"""

_CHARACTER = 6.6  # mean advance of the label font; wide enough that neighbours never touch [px]
_LABEL_LENGTH = 48
_MOST_ROWS = 4
_MARKS = {"device": "v", "plan": "D", "missed": "x", "finding": "s", "other": "|"}


@dataclass(frozen=True, slots=True)
class ChartEvent:
    """Something that happened to the wound's treatment, for the strip.

    Parameters
    ----------
    day : datetime.date
        Day.
    label : str
        A few words, at most 48 characters.
    kind : str
        ``device``, ``plan``, ``finding``, ``missed`` or ``other``: the shape of its mark.

    Raises
    ------
    ChartError
        If the label is empty or too long, or the kind is not one of these.
    """

    day: date
    label: str
    kind: str = "other"

    def __post_init__(self) -> None:
        if not 0 < len(self.label.strip()) <= _LABEL_LENGTH:
            raise ChartError(f"label: {len(self.label.strip())} characters, 1 to {_LABEL_LENGTH} allowed")
        if self.kind not in _MARKS:
            raise ChartError(f"kind: {self.kind!r} is not one of {', '.join(_MARKS)}")


@dataclass(frozen=True, slots=True)
class Placed:
    """An event with its place: days since the first area, row from the top, and the side its label is on.

    ``label`` is empty where no row had room: the mark stays, the words are in the table beside the chart.
    """

    event: ChartEvent
    at: float
    row: int
    leftward: bool
    label: str


def placed(
    events: Sequence[ChartEvent], first: date, span: tuple[float, float], width: float
) -> tuple[Placed, ...]:
    """Rows for labels so that none covers another.

    Parameters
    ----------
    events : sequence of ChartEvent
        Any order.
    first : datetime.date
        Day 0 of the axis.
    span : tuple of float
        Ends of the axis. [d]
    width : float
        Its length on screen. [px]

    Returns
    -------
    tuple of Placed
        Events inside the axis by day; each in the first row with room, at most four rows.
    """
    scale = width / (span[1] - span[0])
    taken: list[list[tuple[float, float]]] = [[] for _ in range(_MOST_ROWS)]
    result: list[Placed] = []
    previous: str | None = None
    for event in sorted(events, key=lambda e: (e.day, e.kind, e.label)):
        at = float((event.day - first).days)
        if not span[0] <= at <= span[1]:
            continue
        # A run of equal events is said once; the marks repeat.
        label = "" if event.kind == "missed" and previous == event.label else event.label.strip()
        previous = event.label
        x = (at - span[0]) * scale
        reach = 14.0 + _CHARACTER * len(label)
        leftward = x + reach > width
        box = (x - reach, x + 8.0) if leftward else (x - 8.0, x + reach)
        row = next(
            (r for r in range(_MOST_ROWS) if all(box[1] <= lo or hi <= box[0] for lo, hi in taken[r])), None
        )
        if row is None:
            row, label = _MOST_ROWS - 1, ""
        else:
            taken[row].append(box)
        result.append(Placed(event, at, row, leftward, label))
    return tuple(result)


def draw_strip(axes: Axes, items: Sequence[Placed], rows: int) -> None:
    """Draw placed events into axes that share the time axis; y runs from 0 (top) to ``rows``."""
    axes.set_ylim(rows, 0)
    axes.set_yticks([])
    axes.set_facecolor(SURFACE)
    for side in ("top", "right", "left", "bottom"):
        axes.spines[side].set_visible(False)
    axes.tick_params(axis="x", length=0, labelbottom=False)
    for item in items:
        y = item.row + 0.5
        axes.plot(
            [item.at, item.at], [0, y], color=EDGE, linewidth=THIN * 0.75, solid_capstyle="butt", zorder=1
        )
        mark = _MARKS[item.event.kind]
        axes.plot(
            [item.at],
            [y],
            marker=mark,
            color=INK,
            markersize=points(7),
            markeredgewidth=THIN,
            linestyle="none",
        )
        if item.label:
            axes.annotate(
                item.label,
                (item.at, y),
                xytext=(-points(8) if item.leftward else points(8), 0),
                textcoords="offset points",
                ha="right" if item.leftward else "left",
                va="center_baseline",
                fontsize=SMALL * 0.95,
                color=SOFT,
                # A leader to a lower row passes behind the words, not through them.
                bbox={"facecolor": SURFACE, "edgecolor": "none", "pad": points(1)},
                zorder=2,
            )
