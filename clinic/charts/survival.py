"""Share healed over time by group, with the number still observed under the axis."""

from collections.abc import Sequence
from dataclasses import dataclass

from matplotlib.axes import Axes

from clinic.charts.errors import ChartError
from clinic.charts.over_time import (
    BESIDE,
    DASHES,
    LEFT,
    ROW,
    TOP,
    UNDER,
    Dash,
    end_names,
    risk_table,
    share_axes,
)
from clinic.charts.style import HEIGHT, INK, LINE, THIN, WIDTH, as_svg, points, sheet
from clinic.healing.survival import KaplanMeier, kaplan_meier

__all__ = ["SurvivalGroup", "survival_svg"]


@dataclass(frozen=True, slots=True)
class SurvivalGroup:
    """A group's name, durations and marks (1 = healed, 0 = censored), and the time its line ends; None is
    its longest duration."""

    name: str
    durations: tuple[float, ...]
    events: tuple[int, ...]
    until: float | None = None

    @property
    def end(self) -> float:
        """Where the line ends. [unit of the durations]"""
        last = max(self.durations)
        return last if self.until is None else min(last, self.until)


def survival_svg(
    groups: Sequence[SurvivalGroup],
    *,
    unit: str = "weeks",
    title: str = "Share healed over time",
) -> bytes:
    """Draw 1 − S per group with its pointwise 95 % interval and the numbers at risk, 900 × 420 px and 18 px
    more for each group beyond two.

    Parameters
    ----------
    groups : sequence of SurvivalGroup
        One to six groups, told apart by dashes and a name at the end of each line.
    unit : str
        Of the durations, for the axis.
    title : str
        Title in the file's metadata.

    Returns
    -------
    bytes
        SVG, the same for the same arguments.

    Raises
    ------
    ChartError
        If there is no group or more than six.
    clinic.healing.errors.SurvivalError
        If a group's rows are not acceptable.

    Notes
    -----
    Competing events (amputation, death) are not known here: where they occur this overstates healing, and the
    page must show cumulative incidence first.
    """
    if not 1 <= len(groups) <= len(DASHES):
        raise ChartError(f"groups: {len(groups)} given, 1 to {len(DASHES)} can be told apart")
    estimates = [kaplan_meier(group.durations, group.events) for group in groups]
    end = max(group.end for group in groups) or 1.0
    bottom = ROW * (len(groups) + 1) + UNDER
    tall = HEIGHT + ROW * max(0, len(groups) - 2)  # the table grows, the plot does not shrink
    with sheet(height=tall) as figure:
        axes = figure.add_axes(
            (
                LEFT / WIDTH,
                bottom / tall,
                (WIDTH - LEFT - BESIDE) / WIDTH,
                (tall - bottom - TOP) / tall,
            )
        )
        ticks = share_axes(axes, end, unit, "Healed [%]")
        for group, estimate, dash in zip(groups, estimates, DASHES, strict=False):
            _curve(axes, group, estimate, dash, shaded=len(groups) <= 2)
        ends = [
            (_steps(estimate, group.end)[1][-1], group.end, group.name)
            for group, estimate in zip(groups, estimates, strict=True)
        ]
        end_names(axes, ends, tall - bottom - TOP)
        risk_table(axes, [(group.name, group.durations) for group in groups], ticks)
        return as_svg(figure, title)


def _steps(estimate: KaplanMeier, last: float) -> tuple[list[float], list[float]]:
    shown = [p for p in estimate.curve if p.time <= last]
    x = [0.0, *(p.time for p in shown), last]
    y = [0.0, *(100.0 * (1.0 - p.survival) for p in shown)]
    return x, [*y, y[-1]]


def _curve(
    axes: Axes,
    group: SurvivalGroup,
    estimate: KaplanMeier,
    dash: Dash,
    *,
    shaded: bool,
) -> None:
    x, y = _steps(estimate, group.end)
    axes.plot(x, y, drawstyle="steps-post", color=INK, linewidth=LINE, linestyle=dash, zorder=3)
    if shaded:
        shown = [p for p in estimate.curve if p.time <= group.end]
        known = [p for p in shown if p.low is not None and p.high is not None]
        if known:
            times = [
                *(p.time for p in known),
                max(known[-1].time, x[-1] if known[-1] is shown[-1] else 0),
            ]
            low = [100.0 * (1.0 - p.high) for p in known if p.high is not None]
            high = [100.0 * (1.0 - p.low) for p in known if p.low is not None]
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
    censored = [t for t, e in zip(group.durations, group.events, strict=True) if not e and t <= group.end]
    share = [100.0 * (1.0 - estimate.survival_at(t)) for t in censored]
    axes.plot(censored, share, "|", color=INK, markersize=points(8), markeredgewidth=THIN, zorder=4)
