"""Small multiples: the lesions of one person side by side over the same weeks."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from matplotlib.axes import Axes

from clinic.charts.errors import ChartError
from clinic.charts.style import EDGE, INK, LINE, SMALL, SOFT, THIN, WIDTH, as_svg, bare, points, sheet
from clinic.healing.progress import area_error
from clinic.healing.series import Area, last_run

__all__ = ["Panel", "multiples_svg"]

_ACROSS = 3
_PANEL_HEIGHT = 200.0
_LEFT, _RIGHT, _TOP, _BOTTOM, _GAP = 40.0, 12.0, 44.0, 34.0, 44.0
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
_MOST = 12


@dataclass(frozen=True, slots=True)
class Panel:
    """One lesion: its name, a word on its state, all its areas, and days of device changes."""

    name: str
    words: str
    areas: tuple[Area, ...]
    changes: tuple[date, ...] = ()


def multiples_svg(panels: Sequence[Panel], *, title: str = "All ulcers of a patient") -> bytes:
    """Draw each lesion in a panel of its own, all over the same dates and on one area axis.

    Parameters
    ----------
    panels : sequence of Panel
        One to twelve with at least one area each.
    title : str
        Title in the file's metadata.

    Returns
    -------
    bytes
        SVG, 900 px wide, the same for the same arguments.

    Raises
    ------
    ChartError
        If there is no panel, more than twelve, or one without an area.

    Notes
    -----
    One axis for all, so that heights can be compared across panels; areas of a kind that is not judged are
    drawn in the paler ink and not joined.
    """
    if not 1 <= len(panels) <= _MOST:
        raise ChartError(f"panels: {len(panels)} given, 1 to {_MOST} can be drawn")
    for panel in panels:
        if not panel.areas:
            raise ChartError(f"areas of {panel.name}: 0 given, at least 1 needed to draw")
    everything = [area for panel in panels for area in panel.areas]
    first, last = min(a.day for a in everything), max(a.day for a in everything)
    days = max(28, (last - first).days)
    top = max(
        0.2,
        1.08 * max((a.area + area_error(a.area, a.method, a.perimeter, a.share)) / 100.0 for a in everything),
    )
    across = min(_ACROSS, len(panels))
    down = math.ceil(len(panels) / across)
    height = down * _PANEL_HEIGHT
    width = (WIDTH - _LEFT - _RIGHT - (across - 1) * _GAP) / across
    with sheet(height=height) as figure:
        for index, panel in enumerate(panels):
            row, column = divmod(index, across)
            left = _LEFT + column * (width + _GAP)
            bottom = height - (row + 1) * _PANEL_HEIGHT + _BOTTOM
            axes = figure.add_axes(
                (
                    left / WIDTH,
                    bottom / height,
                    width / WIDTH,
                    (_PANEL_HEIGHT - _TOP - _BOTTOM) / height,
                )
            )
            _panel(axes, panel, first, days, top)
        return as_svg(figure, title)


def _panel(axes: Axes, panel: Panel, first: date, days: int, top: float) -> None:
    bare(axes)
    axes.set_xlim(-0.03 * days, 1.03 * days)
    axes.set_ylim(0.0, top)
    step = _step(top)
    ticks = [i * step for i in range(int(top / step + 1e-9) + 1)]
    axes.set_yticks(ticks, [f"{tick:g}" for tick in ticks])
    dates = [first, first + timedelta(days=days)]
    axes.set_xticks([0, days], [f"{d.day} {_MONTHS[d.month - 1]} {d.year}" for d in dates])
    start, end = axes.get_xticklabels()
    start.set_horizontalalignment("left")
    end.set_horizontalalignment("right")
    for text, place, colour in ((panel.name, 30, INK), (f"{panel.words}; area [cm²]", 13, SOFT)):
        axes.annotate(
            text,
            (0, 1),
            xycoords="axes fraction",
            xytext=(points(-28), points(place)),
            textcoords="offset points",
            va="center",
            color=colour,
            fontsize=SMALL,
            weight="bold" if colour == INK else "normal",
        )
    for day in panel.changes:
        at = (day - first).days
        if 0 <= at <= days:
            axes.plot([at, at], [0, top], color=EDGE, linewidth=THIN, linestyle=(0, (2, 2)), zorder=1)
    run = last_run(panel.areas)
    judged = set(run.areas)
    axes.plot(
        [(a.day - first).days for a in run.areas],
        [a.area_cm2 for a in run.areas],
        color=INK,
        linewidth=LINE,
        zorder=3,
    )
    for area in panel.areas:
        colour = INK if area in judged else EDGE
        error = area_error(area.area, area.method, area.perimeter, area.share) / 100.0
        axes.errorbar(
            [(area.day - first).days],
            [area.area_cm2],
            yerr=[[min(error, area.area_cm2)], [error]],
            linestyle="none",
            ecolor=colour,
            elinewidth=THIN,
            marker="o",
            markersize=points(5),
            markerfacecolor=colour,
            markeredgecolor=colour,
            zorder=4,
        )


def _step(top: float) -> float:
    power = 10.0 ** math.floor(math.log10(top))
    return next(s * power for s in (0.2, 0.25, 0.5, 1.0, 2.0, 5.0) if top / (s * power) <= 4)
