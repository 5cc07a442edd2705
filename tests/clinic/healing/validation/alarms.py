"""Alarms of the verdict on straight courses: told of a wound that heals steadily, and of one that stops or
grows.

``python -m tests.clinic.healing.validation.alarms [count] [PICTURE.svg]`` prints the table over limits of
the evidence and draws the trade-off. Judged on seed ``JUDGED``; the limit was chosen on seeds
``DEVELOPMENT`` and the next, with paces of median 0.55 and log-sd 0.45, noise of 8-16 % and growth of
0.1-0.5 mm a week.

* steady: the radius falls by a constant pace, log-normal, median 0.6 mm a week, log-sd 0.4, to closing;
* plateau: the same, then flat for good, from a day in weeks 4-12 on which its radius is still above 2 mm;
* worse: half grow from the first day, half from a day in weeks 3-10, by 0.15-0.6 mm a week, for good.

Noise of an area 10-15 % per wound, weekly visits, a tenth missed; looked at until week 20 of the course, or
until ten weeks after it stopped or began to grow.
"""

import sys
from dataclasses import dataclass
from math import inf

import numpy as np

from clinic.healing import halting
from clinic.healing.forecast import forecast_many
from clinic.healing.series import Method, Run
from clinic.healing.verdict import Standing, VerdictWord, verdict_of
from tests.clinic.healing.validation.generators import FIRST_DAY, first_radius, visited

JUDGED, DEVELOPMENT = 4711, 99
LIMITS = (1.0, 2.0, 3.0, 4.0, 6.0, 9.0)
TOLD = (VerdictWord.STALLED, VerdictWord.WORSENING)


@dataclass(frozen=True)
class Seen:
    """One course, its visits as (day, run so far), and the day it stopped or began to grow (None: steady)."""

    kind: str
    visits: tuple
    turns: int | None


def courses(count, seed, pace=(0.6, 0.4), noise=(0.10, 0.15), growth=(0.15, 0.6)):
    rng = np.random.default_rng(seed)
    made = []
    for kind in ("steady", "plateau", "worse"):
        while sum(one.kind == kind for one in made) < count:
            one = _course(rng, kind, pace, noise, growth)
            if one is not None:
                made.append(one)
    return made


def _course(rng, kind, pace, noise, growth):
    start, rate = first_radius(rng), rng.lognormal(np.log(pace[0]), pace[1]) / 7
    daily = np.full(7 * 104, rate)
    turns = None
    if kind == "plateau":
        turns = int(rng.uniform(28, 85))
        if start - rate * turns <= 2.0:
            return None
        daily[turns:] = 0.0
    if kind == "worse":
        turns = 0 if rng.random() < 0.5 else int(rng.uniform(21, 71))
        if start - rate * turns <= 1.0:
            return None
        daily[turns:] = -rng.uniform(*growth) / 7
    radius = np.maximum(start - np.concatenate([[0.0], np.cumsum(daily)]), 0.0)
    areas, _ = visited(rng, radius, {Method.TRACED: rng.uniform(*noise)})
    until = 140 if turns is None else turns + 70
    visits = tuple(
        ((areas[n - 1].day - FIRST_DAY).days, Run(areas[:n]))
        for n in range(2, len(areas) + 1)
        if (areas[n - 1].day - FIRST_DAY).days <= until
    )
    return Seen(kind, visits, turns) if visits else None


@dataclass(frozen=True)
class Figures:
    """Share of steady courses ever told, of their visits; median weeks to a plateau; shares of plateaus and
    growth told."""

    ever: float
    visits: float
    delay: float
    plateaus: float
    worse: float
    worse_delay: float


def figures(seen, told):
    """``told`` gives for each course one bool a visit."""

    def first(kind):
        delays = []
        for one, marks in zip(seen, told, strict=True):
            if one.kind == kind:
                late = [
                    (day - one.turns) / 7
                    for (day, _), on in zip(one.visits, marks, strict=True)
                    if on and day >= one.turns
                ]
                delays.append(late[0] if late else inf)
        return np.array(delays)

    steady = [marks for one, marks in zip(seen, told, strict=True) if one.kind == "steady"]
    flat, worse = first("plateau"), first("worse")
    return Figures(
        ever=float(np.mean([any(marks) for marks in steady])),
        visits=float(np.mean([on for marks in steady for on in marks])),
        delay=float(np.median(flat)),
        plateaus=float(np.isfinite(flat).mean()),
        worse=float(np.isfinite(worse).mean()),
        worse_delay=float(np.median(worse)),
    )


def by_verdict(seen):
    """Figures of the word at each visit, with the forecast of that visit."""
    flat = [run for one in seen for _, run in one.visits]
    words = iter(
        _word(run, found) for run, found in zip(flat, forecast_many([(r, ()) for r in flat]), strict=True)
    )
    return figures(seen, [[next(words) in TOLD for _ in one.visits] for one in seen])


def _word(run, found):
    if found is None:
        return verdict_of(run).word
    return verdict_of(run, None, found.chance_next_8w, Standing(found.still, found.growing)).word


def row(name, f):
    shares = f"{f.ever:.1%} | {f.visits:.1%} | {f.delay:.1f} | {f.plateaus:.0%} | {f.worse:.1%}"
    return f"| {name} | {shares} | {f.worse_delay:.1f} |"


HEAD = (
    "| | steady, ever told | steady, visits | plateau, median weeks | plateau told in 10 weeks | "
    "growing told | growing, median weeks |\n|" + " --- |" * 7
)


def trade_off(seen, limits=LIMITS):
    """(limit, figures) of the verdict at each limit of the evidence of a stop; the chosen one is
    ``halting.LIMIT``."""
    flat = [run for one in seen for _, run in one.visits]
    found = forecast_many([(run, ()) for run in flat])
    chosen, rows = halting.LIMIT, []
    try:
        for limit in limits:
            halting.LIMIT = limit
            words = iter(_word(run, one) for run, one in zip(flat, found, strict=True))
            rows.append((limit, figures(seen, [[next(words) in TOLD for _ in one.visits] for one in seen])))
    finally:
        halting.LIMIT = chosen
    return rows


def draw(rows, path):
    """Trade-off: wrongly told steady wounds across, weeks to a real plateau up; the chosen point is
    filled."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=(5, 3.5), layout="constrained")
    axes = figure.subplots()
    ever, delay = [100 * f.ever for _, f in rows], [f.delay for _, f in rows]
    axes.plot(ever, delay, color="black", marker="o", markerfacecolor="white")
    for (limit, f), x, y in zip(rows, ever, delay, strict=True):
        chosen = limit == halting.LIMIT
        axes.annotate(f"{limit:g}", (x, y), (4, 4), textcoords="offset points")
        if chosen:
            axes.plot([x], [y], color="black", marker="o")
            axes.annotate(
                f"chosen: {f.ever:.0%}, {y:.1f} weeks", (x, y), (12, 24), textcoords="offset points"
            )
    axes.set_xlabel("steadily healing wounds ever told stalled or worsening by week 20 (%)")
    axes.set_ylabel("median weeks to a plateau")
    axes.axvline(10, color="grey", linestyle=":")
    axes.axhline(3, color="grey", linestyle=":")
    figure.savefig(path)


def main(count, picture=None):
    seen = courses(count, JUDGED)
    rows = trade_off(seen)
    print(f"{count} courses of each kind, seed {JUDGED}; a stop is told from {halting.LIMIT:g} on\n\n{HEAD}")
    for limit, found in rows:
        print(row(f"from {limit:g}" + (" (chosen)" if limit == halting.LIMIT else ""), found))
    if picture:
        draw(rows, picture)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 400, sys.argv[2] if len(sys.argv) > 2 else None)
