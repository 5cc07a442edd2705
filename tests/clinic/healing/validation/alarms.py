"""Alarms of the verdict on straight courses: told of a wound that heals steadily, and of one that stops or grows.

``python -m tests.clinic.healing.validation.alarms [count] [PICTURE.svg]`` prints the table over limits of the chance and
draws the trade-off. Judged on seed ``JUDGED``; the limit was chosen on seed ``DEVELOPMENT`` with other ranges.

* steady: the radius falls by a constant pace, log-normal, median 0.6 mm a week, log-sd 0.4, to closing;
* plateau: the same, then flat for good, from a day in weeks 4-12 on which its radius is still above 2 mm;
* worse: half grow from the first day, half from a day in weeks 3-10, by 0.15-0.6 mm a week, for good.

Noise of an area 10-15 % per wound, weekly visits, a tenth missed; looked at until week 20 of the course, or until ten weeks
after it stopped or began to grow.
"""

import sys
from dataclasses import dataclass
from math import inf

import numpy as np

from clinic.healing.forecast import forecast_many
from clinic.healing.series import Method, Run
from clinic.healing.verdict import Standing, VerdictWord, verdict_of
from tests.clinic.healing.validation.generators import FIRST_DAY, first_radius, visited

JUDGED, DEVELOPMENT = 4711, 99
LIMITS = (0.5, 0.6, 0.7, 0.75, 0.8, 0.85, 0.9, 0.95)
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
    """Share of steady courses ever told, of their visits; median weeks to a plateau; shares of plateaus and growth told."""

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
    return f"| {name} | {f.ever:.1%} | {f.visits:.1%} | {f.delay:.1f} | {f.plateaus:.0%} | {f.worse:.1%} | {f.worse_delay:.1f} |"


HEAD = (
    "| | steady, ever told | steady, visits | plateau, median weeks | plateau told in 10 weeks | growing told | "
    "growing, median weeks |\n|" + " --- |" * 7
)

if __name__ == "__main__":
    seen = courses(int(sys.argv[1]) if len(sys.argv) > 1 else 400, JUDGED)
    print(HEAD)
    print(row("verdict", by_verdict(seen)))
