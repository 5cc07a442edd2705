"""Share healed over time by group, with the number still observed under the axis."""

from collections.abc import Sequence
from dataclasses import dataclass

from matplotlib.axes import Axes

from clinic.charts.errors import ChartError
from clinic.charts.style import (
    HEIGHT,
    INK,
    LINE,
    SMALL,
    SOFT,
    SURFACE,
    THIN,
    WIDTH,
    as_svg,
    bare,
    points,
    sheet,
)
from clinic.healing.survival import KaplanMeier, at_risk, kaplan_meier

__all__ = ["SurvivalGroup", "survival_svg"]

_Dash = str | tuple[float, tuple[float, ...]]
_DASHES: tuple[_Dash, ...] = (
    "solid",
    (0, (5, 2)),
    (0, (1.2, 1.6)),
    (0, (7, 2, 1.2, 2)),
    (0, (3, 1.4)),
    (0, (9, 3)),
)
_ROW = 18.0
_LEFT, _RIGHT, _TOP, _AXIS_ROOM = 150.0, 130.0, 34.0, 64.0


@dataclass(frozen=True, slots=True)
class SurvivalGroup:
    """A group's name, durations and marks (1 = healed, 0 = censored)."""

    name: str
    durations: tuple[float, ...]
    events: tuple[int, ...]


def survival_svg(
    groups: Sequence[SurvivalGroup],
    *,
    unit: str = "weeks",
    title: str = "Share healed over time",
) -> bytes:
    """Draw 1 − S per group with its pointwise 95 % interval and the numbers at risk, 900 × 420 px.

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
    if not 1 <= len(groups) <= len(_DASHES):
        raise ChartError(f"groups: {len(groups)} given, 1 to {len(_DASHES)} can be told apart")
    estimates = [kaplan_meier(group.durations, group.events) for group in groups]
    end = max(max(group.durations) for group in groups) or 1.0
    table = _ROW * (len(groups) + 1)
    bottom = table + _AXIS_ROOM
    width = WIDTH - _LEFT - _RIGHT
    with sheet() as figure:
        axes = figure.add_axes(
            (_LEFT / WIDTH, bottom / HEIGHT, width / WIDTH, (HEIGHT - bottom - _TOP) / HEIGHT)
        )
        bare(axes)
        axes.set_xlim(0, end * 1.01)
        axes.set_ylim(0, 100)
        axes.set_yticks([0, 25, 50, 75, 100])
        axes.annotate(
            "Healed [%]",
            (0, 1),
            xycoords="axes fraction",
            xytext=(points(-36), points(18)),
            textcoords="offset points",
            color=SOFT,
            va="center",
        )
        axes.set_xlabel(f"Time [{unit}]", color=SOFT, labelpad=points(3), fontsize=SMALL)
        ticks = _ticks(end)
        axes.set_xticks(ticks, [f"{tick:g}" for tick in ticks])
        for group, estimate, dash in zip(groups, estimates, _DASHES, strict=False):
            _curve(axes, group, estimate, dash, shaded=len(groups) <= 2)
        _end_names(axes, groups, estimates, (HEIGHT - bottom - _TOP))
        _risk_table(axes, groups, ticks)
        return as_svg(figure, title)


def _ticks(end: float) -> list[float]:
    power = 10.0 ** len(str(int(end))) / 100.0
    step = next(s * power for s in (0.5, 1, 2, 5, 10, 20) if end / (s * power) <= 8)
    return [i * step for i in range(int(end / step + 1e-9) + 1)]


def _steps(estimate: KaplanMeier, last: float) -> tuple[list[float], list[float]]:
    x = [0.0, *(p.time for p in estimate.curve), last]
    y = [0.0, *(100.0 * (1.0 - p.survival) for p in estimate.curve)]
    return x, [*y, y[-1]]


def _curve(
    axes: Axes,
    group: SurvivalGroup,
    estimate: KaplanMeier,
    dash: _Dash,
    *,
    shaded: bool,
) -> None:
    x, y = _steps(estimate, max(group.durations))
    axes.plot(x, y, drawstyle="steps-post", color=INK, linewidth=LINE, linestyle=dash, zorder=3)
    if shaded:
        known = [p for p in estimate.curve if p.low is not None and p.high is not None]
        if known:
            times = [
                *(p.time for p in known),
                max(known[-1].time, x[-1] if known[-1] is estimate.curve[-1] else 0),
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
    censored = [t for t, e in zip(group.durations, group.events, strict=True) if not e]
    share = [100.0 * (1.0 - estimate.survival_at(t)) for t in censored]
    axes.plot(censored, share, "|", color=INK, markersize=points(8), markeredgewidth=THIN, zorder=4)


def _end_names(
    axes: Axes, groups: Sequence[SurvivalGroup], estimates: Sequence[KaplanMeier], height: float
) -> None:
    """Names at the right ends, pushed apart where two lines end at one height."""
    ends = sorted(
        ((_steps(e, 0.0)[1][-1], max(g.durations), g.name) for g, e in zip(groups, estimates, strict=True)),
        key=lambda end: end[0],
    )
    apart = 100.0 * 15.0 / height
    placed: list[float] = []
    for y, _, _ in ends:
        placed.append(y if not placed else max(y, placed[-1] + apart))
    shift = max(0.0, placed[-1] - 100.0)
    right = axes.get_xlim()[1]
    for (y, x, name), at in zip(ends, placed, strict=True):
        low = at - shift if shift and at - shift >= 0 else at
        axes.plot([x, right], [y, low], color=SOFT, linewidth=THIN * 0.7, clip_on=False, zorder=2)
        axes.annotate(
            name if len(name) <= 18 else f"{name[:17]}…",
            (right, low),
            xytext=(points(5), 0),
            textcoords="offset points",
            va="center",
            color=INK,
            fontsize=SMALL,
            annotation_clip=False,
        )


def _risk_table(axes: Axes, groups: Sequence[SurvivalGroup], ticks: Sequence[float]) -> None:
    # Rows hang under the axis at fixed distances, whatever the height of the plot.
    def row(words: str, x: float, line: int, align: str, colour: str) -> None:
        axes.annotate(
            words,
            (x, 0),
            xycoords=axes.get_xaxis_transform() if align == "center" else ("axes fraction", "axes fraction"),
            xytext=(0 if align == "center" else points(-134), points(-(56 + _ROW * line))),
            textcoords="offset points",
            ha=align,
            va="center",
            color=colour,
            fontsize=SMALL,
            annotation_clip=False,
            bbox={"facecolor": SURFACE, "edgecolor": "none", "pad": 0},
        )

    row("Still observed", 0, 0, "left", SOFT)
    for line, group in enumerate(groups, start=1):
        row(group.name if len(group.name) <= 18 else f"{group.name[:17]}…", 0, line, "left", INK)
        for tick, count in zip(ticks, at_risk(group.durations, ticks), strict=True):
            row(str(count), tick, line, "center", INK)
