"""The chart of a lesion beside a bare matplotlib figure that holds the same elements."""

from __future__ import annotations

import io
from collections.abc import Iterator
from datetime import timedelta

import numpy as np
from matplotlib.figure import Figure

from clinic.charts.strip import ChartEvent
from clinic.charts.trajectory import trajectory_svg
from clinic.healing.forecast import Forecast, forecast
from clinic.healing.progress import area_error
from clinic.healing.series import Run

from .healing import wounds
from .rows import Row, best


def bare(run: Run, found: Forecast, events: list[ChartEvent]) -> bytes:
    """The same points, bars, curve, bands, marks and words with matplotlib's own settings."""
    figure = Figure(figsize=(9.0, 4.2), dpi=100)
    main, low = figure.subplots(2, 1, height_ratios=(5, 1))
    main.errorbar(
        run.days,
        [a.area_cm2 for a in run.areas],
        yerr=[area_error(a.area, a.method, a.perimeter) / 100.0 for a in run.areas],
        fmt="o",
        capsize=3,
    )
    for points in (found.curve, found.fan):
        days = [(p.day - run.first.day).days for p in points]
        bands = np.array([p.band for p in points]) / 100.0
        main.fill_between(days, bands[:, 0], bands[:, 1], alpha=0.3)
        main.plot(days, [p.area / 100.0 for p in points])
    main.axvline(28.0)
    main.text(28.0, 0.9, "4 weeks", transform=main.get_xaxis_transform())
    main.text(run.days[-1], run.last.area_cm2, f"{run.last.area_cm2:.2f} cm²")
    main.set_xlabel("Days")
    main.set_ylabel("Area [cm²]")
    for event in events:
        day = (event.day - run.first.day).days
        low.plot([day], [0.0], "s")
        low.text(day, 0.1, event.label)
    sink = io.BytesIO()
    figure.savefig(sink, format="svg")
    return sink.getvalue()


def rows() -> Iterator[Row]:
    run = next(run for run in wounds(50) if run.last.area > 150)
    found = forecast(run)
    if found is None:
        raise AssertionError("a simulated wound has no forecast")
    events = [
        ChartEvent(run.first.day + timedelta(days=day), label, kind)
        for day, label, kind in (
            (3, "walker fitted", "device"),
            (20, "relief plan v1", "plan"),
            (50, "debrided", "other"),
        )
    ]
    yield Row(
        "lesion chart, not cached",
        f"{len(run.areas)} areas, {len(events)} events, SVG",
        best(lambda: trajectory_svg(run.areas, events=events, forecast=found), 10),
        "bare matplotlib, same elements",
        best(lambda: bare(run, found, events), 10),
        False,
    )
