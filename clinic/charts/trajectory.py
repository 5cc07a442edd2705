"""The course of one wound: areas with their errors, the smoothed curve, what happened, what may come.

The drawing takes no side: it uses ink and hatch, so a verdict is read in words above it and not in a colour.
"""

from collections.abc import Sequence
from datetime import date, timedelta

from matplotlib.axes import Axes

from clinic.charts.errors import ChartError
from clinic.charts.scale import Quantity, Scale, Spacing, draw_scale, scale_for
from clinic.charts.strip import ROW_HEIGHT, ChartEvent, draw_strip, placed
from clinic.charts.style import (
    EDGE,
    HEIGHT,
    INK,
    LINE,
    PINE,
    RULE,
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
from clinic.healing.forecast import CurvePoint, Forecast
from clinic.healing.progress import area_at, area_error
from clinic.healing.series import Area, Method, Run, WoundState, last_run

__all__ = ["GAP", "trajectory_svg"]

GAP = 21
"""Two areas further apart than this are not joined: at weekly visits at least two are missing. [d]"""

_MARKS = {Method.TRACED: "o", Method.ELLIPSE: "D", Method.RULER: "s"}
_LEFT, _RIGHT, _TOP, _BOTTOM, _AXIS_ROOM = 56.0, 16.0, 40.0, 12.0, 42.0
_FOUR_WEEK_ROOM = 125.0  # of the two-line label [px]
_AHEAD = 16 * 7  # a late closing date further off leaves the page and is said in words
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def trajectory_svg(
    areas: Sequence[Area],
    *,
    events: Sequence[ChartEvent] = (),
    missed: Sequence[date] = (),
    forecast: Forecast | None = None,
    title: str = "Ulcer area over time",
    quantity: Quantity = Quantity.AREA,
    spacing: Spacing = Spacing.LINEAR,
) -> bytes:
    """Draw the course of a wound, 900 × 420 px.

    Parameters
    ----------
    areas : sequence of Area
        All areas of the lesion, methods and states mixed or not; runs of different kinds are not joined.
    events : sequence of ChartEvent
        Device, plan and other events for the strip under the axis.
    missed : sequence of datetime.date
        Days of missed visits: marked in the strip, and the line is broken there.
    forecast : Forecast or None
        Smoothed curve, band and fan. The fan and dates are drawn only from the fifth area on.
    title : str
        Title in the file's metadata, for screen readers and lists.
    quantity : Quantity
        Area, or its reduction from the first area of the judged run; then only that run is drawn.
    spacing : Spacing
        Even, or by factors: a wound that loses the same share every week is then a straight line.

    Returns
    -------
    bytes
        SVG, the same for the same arguments.

    Raises
    ------
    ChartError
        If there is no area, or no such axis for these areas.
    clinic.healing.errors.SeriesError
        If two areas of one method and state are on one day.
    """
    if not areas:
        raise ChartError("areas: 0 given, at least 1 needed to draw")
    run = last_run(areas)
    if quantity is Quantity.REDUCTION:
        areas = run.areas
    scale = scale_for(areas, run.first.area_cm2, quantity, spacing)
    first = min(area.day for area in areas)
    span = _span(areas, first, run, forecast)
    width = WIDTH - _LEFT - _RIGHT
    strip = placed(
        [*events, *(ChartEvent(day, "missed visit", "missed") for day in missed)], first, span, width
    )
    rows = max((item.row for item in strip), default=-1) + 1
    with sheet() as figure:
        bottom = _BOTTOM + rows * ROW_HEIGHT + _AXIS_ROOM
        main = figure.add_axes(
            (_LEFT / WIDTH, bottom / HEIGHT, width / WIDTH, (HEIGHT - bottom - _TOP) / HEIGHT)
        )
        bare(main)
        main.set_xlim(*span)
        draw_scale(main, scale)
        _time_axes(main, first, span)
        _four_weeks(main, first, run, span, scale)
        if forecast is not None:
            _smoothed(main, first, run, forecast, missed, scale)
            _outlook(main, first, forecast, span, scale)
        _measured(main, areas, first, run, missed, scale, joined=forecast is None)
        _names(main, areas, first, run, scale)
        if rows:
            low = figure.add_axes(
                (_LEFT / WIDTH, _BOTTOM / HEIGHT, width / WIDTH, rows * ROW_HEIGHT / HEIGHT)
            )
            low.set_xlim(*span)
            draw_strip(low, strip, rows)
        return as_svg(figure, title)


def _day(day: date, first: date) -> float:
    return float((day - first).days)


def _span(areas: Sequence[Area], first: date, run: Run, forecast: Forecast | None) -> tuple[float, float]:
    last = _day(max(area.day for area in areas), first)
    end = max(last, _day(run.first.day, first) + 28.0)
    if forecast is not None and forecast.names_date:
        late = last + _AHEAD if forecast.high is None else _day(forecast.high, first)
        end = max(end, min(late, last + _AHEAD))
    return -0.03 * end, 1.03 * end


def _time_axes(axes: Axes, first: date, span: tuple[float, float]) -> None:
    weeks = int(span[1] // 7)
    step = next(s for s in (1, 2, 4, 8, 13, 26, 52, 104, 520) if weeks / s <= 12 or s == 520)
    ticks = list(range(0, weeks + 1, step))
    axes.set_xticks([7 * week for week in ticks], [str(week) for week in ticks])
    axes.set_xlabel("Weeks since first seen", labelpad=points(3), fontsize=SMALL)
    every = max(1, -(-len(ticks) // 7))
    dated = ticks[::every]
    upper = axes.secondary_xaxis("top")
    labels, year = [], None
    for week in dated:
        day = first + timedelta(days=7 * week)
        labels.append(f"{day.day} {_MONTHS[day.month - 1]}{f' {day.year}' if day.year != year else ''}")
        year = day.year
    upper.set_xticks([7 * week for week in dated], labels)
    upper.spines["top"].set_visible(False)
    upper.tick_params(length=0, labelsize=SMALL, labelcolor=SOFT, pad=points(2))


def _four_weeks(axes: Axes, first: date, run: Run, span: tuple[float, float], scale: Scale) -> None:
    if run.first.area <= 0:
        return
    half = scale.of(run.first.area_cm2 / 2.0)
    at = _day(run.first.day, first) + 28.0
    reach = 0.012 * (span[1] - span[0])
    axes.plot(
        [at - reach, at + reach], [half, half], color=INK, linewidth=LINE, solid_capstyle="butt", zorder=2
    )
    axes.plot([at, at], [scale.low, half], color=EDGE, linewidth=THIN, linestyle=(0, (1, 3)), zorder=1)
    # The curve of a healing wound runs above the mark before it and below after it; a fast one turns that
    # round.
    earlier = [v for d in (14, 21, 28) if (v := area_at(run, d)) is not None]
    room = (at - span[0]) / (span[1] - span[0]) * (WIDTH - _LEFT - _RIGHT)
    leftward = room > _FOUR_WEEK_ROOM and not any(v < 1.3 * run.first.area / 2.0 for v in earlier)
    place, offset = (at - reach if leftward else at + reach, half), (points(-5 if leftward else 5), 0.0)
    foot = (
        scale.quantity is Quantity.REDUCTION
    )  # there the curve goes on beside the mark, and its foot is free
    if foot:
        leftward, place, offset = False, (at, scale.low), (points(5), points(4))
    axes.annotate(
        "half the first area\nat 4 weeks",
        place,
        xytext=offset,
        textcoords="offset points",
        ha="right" if leftward else "left",
        va="bottom" if foot else "center",
        color=SOFT,
        fontsize=SMALL * 0.95,
        bbox={"facecolor": SURFACE, "edgecolor": "none", "pad": points(1), "alpha": 0.8},
        zorder=2,
    )


def _pieces(areas: Sequence[Area], missed: Sequence[date], visits: Sequence[date]) -> list[list[Area]]:
    """Areas of one kind cut where a visit lacks it, was missed, or is too far off."""
    pieces: list[list[Area]] = []
    for area in areas:
        if pieces:
            before = pieces[-1][-1].day
            broken = any(before < day < area.day for day in (*missed, *visits))
            if not broken and (area.day - before).days <= GAP:
                pieces[-1].append(area)
                continue
        pieces.append([area])
    return pieces


def _kinds(areas: Sequence[Area]) -> dict[tuple[Method, WoundState], list[Area]]:
    kinds: dict[tuple[Method, WoundState], list[Area]] = {}
    for area in sorted(areas, key=lambda a: a.day):
        kinds.setdefault((area.method, area.state), []).append(area)
    return kinds


def _measured(
    axes: Axes,
    areas: Sequence[Area],
    first: date,
    run: Run,
    missed: Sequence[date],
    scale: Scale,
    *,
    joined: bool,
) -> None:
    visits = sorted({area.day for area in areas})
    judged = set(run.areas)
    for (method, state), own in _kinds(areas).items():
        for piece in _pieces(own, missed, visits):
            inside = piece[-1] in judged
            colour = INK if inside else EDGE
            x = [_day(a.day, first) for a in piece]
            y = [scale.of(a.area_cm2) for a in piece]
            if len(piece) > 1 and (joined or not inside):
                axes.plot(
                    x, y, color=colour, linewidth=LINE if inside else THIN, zorder=3, solid_joinstyle="round"
                )
            ends = [_ends(a, scale) for a in piece]
            axes.errorbar(
                x,
                y,
                yerr=[
                    [max(0.0, v - e[0]) for v, e in zip(y, ends, strict=True)],
                    [max(0.0, e[1] - v) for v, e in zip(y, ends, strict=True)],
                ],
                linestyle="none",
                ecolor=colour,
                elinewidth=THIN,
                capsize=points(3),
                capthick=THIN,
                marker=_MARKS[method],
                markersize=points(7 if method is not Method.TRACED else 8),
                markerfacecolor=SURFACE if state is WoundState.BEFORE else colour,
                markeredgecolor=colour,
                markeredgewidth=THIN * 1.3,
                zorder=4,
            )


def _ends(area: Area, scale: Scale) -> tuple[float, float]:
    return scale.ends(area.area_cm2, area_error(area.area, area.method, area.perimeter, area.share) / 100.0)


def _names(axes: Axes, areas: Sequence[Area], first: date, run: Run, scale: Scale) -> None:
    """Each kind named at its first point: the judged one above its error bar, another that starts there
    below.
    """
    kinds = sorted(_kinds(areas).values(), key=lambda own: own[-1] not in run.areas)
    named: list[float] = []
    low, high = axes.get_xlim()
    for own in kinds:
        at, x = own[0], _day(own[0].day, first)
        words = (
            str(at.method) if at.state is WoundState.NOT_STATED else f"{at.method}, {at.state} debridement"
        )
        bottom, top = _ends(at, scale)
        # Under a curve that rises the room is below the first point, over one that falls above it.
        rising = scale.quantity is Quantity.REDUCTION
        below = rising or any(abs(x - other) < 0.2 * (high - low) for other in named)
        named.append(x)
        axes.annotate(
            words,
            (x, bottom if below else top),
            xytext=(points(-4), points(-4 if below else 4)),
            textcoords="offset points",
            va="top" if below else "bottom",
            color=INK if own[-1] in run.areas else SOFT,
            fontsize=SMALL * 0.95,
            zorder=5,
        )


def _smoothed(
    axes: Axes, first: date, run: Run, forecast: Forecast, missed: Sequence[date], scale: Scale
) -> None:
    curve = forecast.curve
    if not curve:
        return
    x = [_day(p.day, first) for p in curve]
    bands = [p.band for p in curve]
    axes.fill_between(
        x,
        [scale.of(b[0] / 100.0) for b in bands],
        [scale.of(b[1] / 100.0) for b in bands],
        color=INK,
        alpha=0.15,
        linewidth=0,
        zorder=1.5,
    )
    # The band runs on through a gap, where it widens; the line does not.
    for piece in _pieces(run.areas, missed, ()):
        part = [p for p in curve if piece[0].day <= p.day <= piece[-1].day]
        axes.plot(
            [_day(p.day, first) for p in part],
            [scale.of(p.area / 100.0) for p in part],
            color=PINE,
            linewidth=LINE,
            zorder=3,
        )


def _outlook(
    axes: Axes,
    first: date,
    forecast: Forecast,
    span: tuple[float, float],
    scale: Scale,
) -> None:
    """Fan and closing dates; the chance of closing stands in the page's verdict sentence."""
    if not (forecast.names_date and forecast.fan):
        return
    _fan(axes, first, forecast.fan, scale)
    if forecast.low is not None and _day(forecast.low, first) < span[1]:
        ends = [_day(forecast.low, first), span[1] if forecast.high is None else _day(forecast.high, first)]
        axes.plot(ends, [scale.of(0.0)] * 2, color=INK, linewidth=points(5), solid_capstyle="butt", zorder=5)
    upward = scale.quantity is Quantity.REDUCTION  # a healing wound then leaves the lower corner free
    axes.annotate(
        _closing_words(forecast),
        (1, 0 if upward else 1),
        xycoords="axes fraction",
        xytext=(points(-4), points(4 if upward else -4)),
        textcoords="offset points",
        ha="right",
        va="bottom" if upward else "top",
        color=INK,
        fontsize=SMALL,
        linespacing=1.5,
        bbox={"facecolor": SURFACE, "edgecolor": RULE, "pad": points(6), "linewidth": THIN},
        zorder=6,
    )


def _fan(axes: Axes, first: date, fan: Sequence[CurvePoint], scale: Scale) -> None:
    x = [_day(p.day, first) for p in fan]
    low = [scale.of(p.band[0] / 100.0) for p in fan]
    high = [scale.of(p.band[1] / 100.0) for p in fan]
    axes.fill_between(x, low, high, facecolor="none", edgecolor=EDGE, hatch="////", linewidth=0, zorder=1)
    axes.plot(x, high, color=EDGE, linewidth=THIN, zorder=1.2)
    axes.plot(x, low, color=EDGE, linewidth=THIN, zorder=1.2)


def _closing_words(forecast: Forecast) -> str:
    if forecast.low is None:
        return "Not expected to close within 52 weeks (estimate)"
    if forecast.high is None:
        return f"Closing not before {_written(forecast.low)} (estimate, 9 in 10), end open"
    return f"Closing {_written(forecast.low)} to {_written(forecast.high)} (estimate, 8 in 10)"


def _written(day: date) -> str:
    return f"{day.day} {_MONTHS[day.month - 1]} {day.year}"
