"""What charts of shares over time have in common: their axes, dashes, names at the line ends, numbers at
risk.
"""

from collections.abc import Sequence

from matplotlib.axes import Axes

from clinic.charts.style import INK, SMALL, SOFT, SURFACE, THIN, bare, points
from clinic.healing.survival import at_risk

__all__ = [
    "BESIDE",
    "DASHES",
    "LEFT",
    "ROW",
    "TOP",
    "UNDER",
    "Dash",
    "end_names",
    "risk_table",
    "share_axes",
]

Dash = str | tuple[float, tuple[float, ...]]
DASHES: tuple[Dash, ...] = (
    "solid",
    (0, (5, 2)),
    (0, (1.2, 1.6)),
    (0, (7, 2, 1.2, 2)),
    (0, (3, 1.4)),
    (0, (9, 3)),
)
"""How groups are told apart: in ink, by dashes, named at the ends of their lines."""

ROW = 18.0
"""Height of one row of the table under the axis. [px]"""

LEFT, BESIDE, TOP, UNDER = 150.0, 130.0, 34.0, 64.0
"""Room left of the plot, right of it, above it, and between it and the table's rows. [px]"""

_LONGEST = 18


def share_axes(axes: Axes, end: float, unit: str, words: str, top: float = 100.0) -> list[float]:
    """Axes of shares in percent from time 0 to the end.

    Parameters
    ----------
    axes : Axes
        To set up.
    end : float
        Longest time. [unit]
    unit : str
        Of the times, for the axis.
    words : str
        What the shares are.
    top : float
        Top of the axis. [%]

    Returns
    -------
    list of float
        Ticks of time. [unit]
    """
    bare(axes)
    axes.set_xlim(0, end * 1.01)
    axes.set_ylim(0, top)
    axes.set_yticks([i * top / 4 for i in range(5)], [f"{i * top / 4:g}" for i in range(5)])
    axes.annotate(
        words,
        (0, 1),
        xycoords="axes fraction",
        xytext=(points(-36), points(18)),
        textcoords="offset points",
        color=SOFT,
        va="center",
    )
    axes.set_xlabel(f"Time [{unit}]", color=SOFT, labelpad=points(3), fontsize=SMALL)
    power = 10.0 ** len(str(int(end))) / 100.0
    step = next(s * power for s in (0.5, 1, 2, 5, 10, 20) if end / (s * power) <= 8)
    ticks = [i * step for i in range(int(end / step + 1e-9) + 1)]
    axes.set_xticks(ticks, [f"{tick:g}" for tick in ticks])
    return ticks


def end_names(axes: Axes, ends: Sequence[tuple[float, float, str]], height: float) -> None:
    """Names at the right ends of lines, pushed apart where two end at one height.

    Parameters
    ----------
    axes : Axes
        With limits set.
    ends : sequence of (share, time, name)
        Where each line ends. [%, unit of time]
    height : float
        Height of the axes. [px]
    """
    low_end, high_end = axes.get_ylim()
    ordered = sorted(ends, key=lambda end: end[0])
    apart = (high_end - low_end) * 15.0 / height
    placed: list[float] = []
    for y, _, _ in ordered:
        placed.append(y if not placed else max(y, placed[-1] + apart))
    shift = max(0.0, placed[-1] - high_end) if placed else 0.0
    right = axes.get_xlim()[1]
    for (y, x, name), at in zip(ordered, placed, strict=True):
        low = at - shift if shift and at - shift >= 0 else at
        axes.plot([x, right], [y, low], color=SOFT, linewidth=THIN * 0.7, clip_on=False, zorder=2)
        axes.annotate(
            _short(name),
            (right, low),
            xytext=(points(5), 0),
            textcoords="offset points",
            va="center",
            color=INK,
            fontsize=SMALL,
            annotation_clip=False,
        )


def risk_table(axes: Axes, groups: Sequence[tuple[str, Sequence[float]]], ticks: Sequence[float]) -> None:
    """Numbers still observed under the ticks, a row a group.

    Parameters
    ----------
    axes : Axes
        The rows hang under it at fixed distances, whatever its height.
    groups : sequence of (name, durations)
        In the order of the rows.
    ticks : sequence of float
        Times of the columns.
    """

    def row(words: str, x: float, line: int, align: str, colour: str) -> None:
        axes.annotate(
            words,
            (x, 0),
            xycoords=axes.get_xaxis_transform() if align == "center" else ("axes fraction", "axes fraction"),
            xytext=(0 if align == "center" else points(-134), points(-(56 + ROW * line))),
            textcoords="offset points",
            ha=align,
            va="center",
            color=colour,
            fontsize=SMALL,
            annotation_clip=False,
            bbox={"facecolor": SURFACE, "edgecolor": "none", "pad": 0},
        )

    row("Still observed", 0, 0, "left", SOFT)
    for line, (name, durations) in enumerate(groups, start=1):
        row(_short(name), 0, line, "left", INK)
        for tick, count in zip(ticks, at_risk(durations, ticks), strict=True):
            row(str(count), tick, line, "center", INK)


def _short(name: str) -> str:
    """A name cut in its middle: device classes often differ only at the end."""
    return name if len(name) <= _LONGEST else f"{name[:9].rstrip()}…{name[-8:].lstrip()}"
