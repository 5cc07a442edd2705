"""Share healed, and share that ended otherwise, over time by group: what competes is shown, not censored."""

from collections.abc import Sequence
from dataclasses import dataclass

from matplotlib.axes import Axes

from clinic.charts.errors import ChartError
from clinic.charts.over_time import DASHES, LEFT, ROW, TOP, UNDER, end_names, risk_table, share_axes
from clinic.charts.style import HEIGHT, INK, LINE, WIDTH, as_svg, sheet
from clinic.healing.incidence import Incidence

__all__ = ["IncidenceGroup", "incidence_svg"]

_BETWEEN, _NAMES = 190.0, 130.0  # room for names between the panels and right of the second [px]
_FIRST_SHARE = 0.62  # of the width left for panels


@dataclass(frozen=True, slots=True)
class IncidenceGroup:
    """A group's name, all its durations, its healing, and the other endings.

    Parameters
    ----------
    name : str
        Of the group.
    durations : tuple of float
        Of all its subjects, whatever their ending.
    healed : Incidence
        Of healing.
    others : tuple of Incidence
        Of each competing ending; their shares add up.
    until : float or None
        Time its lines end; None is its longest duration.
    """

    name: str
    durations: tuple[float, ...]
    healed: Incidence
    others: tuple[Incidence, ...]
    until: float | None = None

    @property
    def end(self) -> float:
        """Where the lines end. [unit of the durations]"""
        last = max(self.durations)
        return last if self.until is None else min(last, self.until)


def incidence_svg(
    groups: Sequence[IncidenceGroup],
    *,
    unit: str = "weeks",
    title: str = "Share healed, and share that ended otherwise",
) -> bytes:
    """Draw both shares side by side with the numbers still observed, 900 × 420 px and 18 px more
    for each group beyond two.

    Parameters
    ----------
    groups : sequence of IncidenceGroup
        One to six.
    unit : str
        Of the durations.
    title : str
        Title in the file's metadata.

    Returns
    -------
    bytes
        SVG, the same for the same arguments.

    Raises
    ------
    ChartError
        If there is no group, more than six, or one without a subject.
    """
    if not 1 <= len(groups) <= len(DASHES):
        raise ChartError(f"groups: {len(groups)} given, 1 to {len(DASHES)} can be told apart")
    for group in groups:
        if not group.durations:
            raise ChartError(f"durations of {group.name}: 0 given, at least 1 needed")
    end = max(group.end for group in groups) or 1.0
    bottom = ROW * (len(groups) + 1) + UNDER
    tall = HEIGHT + ROW * max(0, len(groups) - 2)  # the table grows, the plot does not shrink
    height = tall - bottom - TOP
    room = WIDTH - LEFT - _BETWEEN - _NAMES
    with sheet(height=tall) as figure:
        main = figure.add_axes((LEFT / WIDTH, bottom / tall, _FIRST_SHARE * room / WIDTH, height / tall))
        left = LEFT + _FIRST_SHARE * room + _BETWEEN
        other = figure.add_axes(
            (left / WIDTH, bottom / tall, (1.0 - _FIRST_SHARE) * room / WIDTH, height / tall)
        )
        ticks = share_axes(main, end, unit, "Healed [%]")
        share_axes(other, end, unit, "Amputated or died [%]")
        other.set_xticks(ticks[:: max(1, len(ticks) // 3)])
        for axes, causes in (
            (main, [(g.healed,) for g in groups]),
            (other, [g.others for g in groups]),
        ):
            ends = []
            for group, own, dash in zip(groups, causes, DASHES, strict=False):
                x, y = _sum(own, group.end)
                axes.plot(x, y, drawstyle="steps-post", color=INK, linewidth=LINE, linestyle=dash, zorder=3)
                ends.append((y[-1], x[-1], group.name))
            if axes is main and len(groups) == 1:
                _interval(main, groups[0])
            end_names(axes, ends, height)
        risk_table(main, [(group.name, group.durations) for group in groups], ticks)
        return as_svg(figure, title)


def _sum(causes: Sequence[Incidence], last: float) -> tuple[list[float], list[float]]:
    """Steps of the summed share, held to the end of follow-up. [unit of time, %]"""
    times = sorted({p.time for cause in causes for p in cause.curve if p.time <= last})
    y = [100.0 * sum(cause.at(time) for cause in causes) for time in times]
    x = [0.0, *times, last]
    return x, [0.0, *y, y[-1] if y else 0.0]


def _interval(axes: Axes, group: IncidenceGroup) -> None:
    shown = [p for p in group.healed.curve if p.time <= group.end]
    known = [p for p in shown if p.low is not None and p.high is not None]
    if not known:
        return
    times = [*(p.time for p in known), group.end]
    low = [100.0 * p.low for p in known if p.low is not None]
    high = [100.0 * p.high for p in known if p.high is not None]
    axes.fill_between(
        times,
        [*low, low[-1]],
        [*high, high[-1]],
        step="post",
        color=INK,
        alpha=0.08,
        linewidth=0,
        zorder=1.5,
    )
