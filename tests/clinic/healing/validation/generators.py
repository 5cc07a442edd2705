"""Five unlike kinds of invented wounds, for judging forecasts and verdicts that were not made on them.

A wound closes on the first day its true area is at most 2 mm²; it is followed for 104 weeks. First areas are
log-normal, median 1.5 cm², log-sd 0.8, cut to 0.3-20 cm². Rates, shares and noises are assumptions without a
source, chosen once and not moved afterwards; they say how a forecast does when wounds behave like that, and
nothing about people.

* ``project``: the cohort of ``tests/clinic/healing/simulated.py``.
* ``plateaus``: the radius falls in a straight line, log-normal, median 0.45 mm a week, log-sd 0.5; a plateau
  of 3-12 weeks begins with chance 4 % a week; 10 % of wounds never close in. Noise of an area 8-18 % of it,
  per wound.
* ``exponential``: the area falls by a constant share, log-normal, median 18 % a week, log-sd 0.6; 12 % fall
  by under 2 % a week. Noise 10-20 %.
* ``delayed``: flat for 0-8 weeks, then straight (median 0.55 mm a week, log-sd 0.5); one in two has a stall
  of 4-20 weeks somewhere; one in five grows for 3-20 weeks at 0.1-0.6 mm a week at first or after a while.
  Noise 10-20 %.
* ``switching``: healing, still or growing, changing by chance each week (leaving: 6, 10, 15 %), with a new
  pace at each change, straight in half the wounds and in shares of the area in the others; one to two gaps
  of 3-7 weeks; 40 % by ruler, a fifth change from ruler to tracing. Noise 8-15 % traced, 15-25 % by ruler;
  one area in 25 is off by a half more.
"""

from dataclasses import dataclass
from datetime import date, timedelta
from math import pi, sqrt

import numpy as np

from clinic.healing.series import Area, Method, last_run
from tests.clinic.healing import simulated

FIRST_DAY = date(2026, 1, 5)
CLOSED = 2.0  # mm²
_WEEKS = 104
_VISITS = 41


@dataclass(frozen=True)
class Course:
    """One invented wound; ``turns`` is when the first plateau or growth begins, ``lasts`` its days, None
    where none."""

    kind: str
    areas: tuple[Area, ...]
    closes: int | None
    steady: bool = False
    turns: int | None = None
    lasts: int = 0
    worsens: bool = False

    def run(self, day):
        """Last run of the areas up to a day, with the grace of one day."""
        return last_run([a for a in self.areas if (a.day - FIRST_DAY).days <= day + 1])


def mixture(count, seed):
    """``count`` courses of each kind."""
    return [course for kind in KINDS for course in courses(kind, count, seed)]


def courses(kind, count, seed):
    rng = np.random.default_rng([seed, sorted(KINDS).index(kind)])
    return KINDS[kind](count, rng)


def first_radius(rng):
    return sqrt(float(np.clip(rng.lognormal(np.log(150.0), 0.8), 30.0, 2000.0)) / pi)


def closing_day(radius):
    shut = np.flatnonzero(pi * np.asarray(radius) ** 2 <= CLOSED)
    return int(shut[0]) if shut.size else None


def visited(rng, radius, noise, gaps=(), method=lambda day: Method.TRACED, missed=0.1, outliers=0.0):
    """Weekly areas of a daily radius while open; ``noise`` a method's relative error of an area."""
    closes = closing_day(radius)
    areas = []
    for week in range(_VISITS):
        day = 7 * week + (0 if week == 0 else int(rng.choice([-1, 0, 0, 0, 1])))
        if closes is not None and day >= closes:
            break
        if week and (rng.random() < missed or any(a <= day < b for a, b in gaps)):
            continue
        kind = method(day)
        factor = rng.lognormal(0.0, noise[kind])
        if rng.random() < outliers:
            factor *= 1.5 ** rng.choice([-1, 1])
        areas.append(
            Area(FIRST_DAY + timedelta(days=day), max(1.0, round(pi * radius[day] ** 2 * factor)), kind)
        )
    return tuple(areas), closes


def _project(count, rng):
    made = []
    for wound in simulated.cohort(count, int(rng.integers(1 << 31))):
        made.append(
            Course(
                "project",
                wound.run.areas,
                wound.closes,
                steady=wound.course == "steady",
                turns=wound.turns if wound.course == "stall" else None,
                lasts=wound.pause,
                worsens=wound.course == "worse",
            )
        )
    return made


def _plateaus(count, rng):
    made = []
    for _ in range(count):
        start, pace = first_radius(rng), rng.lognormal(np.log(0.45), 0.5) / 7
        never = rng.random() < 0.10
        daily = np.full(7 * _WEEKS, 0.0 if never else pace)
        day, turns, lasts = 0, None, 0
        while not never:
            day += int(rng.geometric(0.04 / 7))
            if day >= daily.size:
                break
            length = int(rng.uniform(21, 85))
            daily[day : day + length] = 0.0
            if turns is None:
                turns, lasts = day, length
            day += length
        radius = np.maximum(start - np.concatenate([[0.0], np.cumsum(daily)]), 0.0)
        error = rng.uniform(0.08, 0.18)
        areas, closes = visited(rng, radius, {Method.TRACED: error})
        if never:
            turns, lasts = 0, daily.size
        made.append(Course("plateaus", areas, closes, turns=turns, lasts=lasts))
    return made


def _exponential(count, rng):
    made = []
    for _ in range(count):
        slow = rng.random() < 0.12
        share = rng.uniform(0.0, 0.02) if slow else min(rng.lognormal(np.log(0.18), 0.6), 0.7)
        radius = first_radius(rng) * np.exp(0.5 * np.log1p(-share) / 7 * np.arange(7 * _WEEKS + 1))
        error = rng.uniform(0.10, 0.20)
        areas, closes = visited(rng, radius, {Method.TRACED: error})
        made.append(Course("exponential", areas, closes))
    return made


def _delayed(count, rng):
    made = []
    for _ in range(count):
        start, pace = first_radius(rng), rng.lognormal(np.log(0.55), 0.5) / 7
        daily = np.full(7 * _WEEKS, pace)
        daily[: int(rng.uniform(0, 57))] = 0.0
        turns, lasts, worsens = None, 0, False
        if rng.random() < 0.5:
            turns, lasts = int(rng.uniform(21, 140)), int(rng.uniform(28, 141))
            daily[turns : turns + lasts] = 0.0
        if rng.random() < 0.2:
            grows = 0 if rng.random() < 0.5 else int(rng.uniform(21, 85))
            length = int(rng.uniform(21, 141))
            daily[grows : grows + length] = -rng.uniform(0.1, 0.6) / 7
            turns, lasts, worsens = grows, length, True
        radius = np.maximum(start - np.concatenate([[0.0], np.cumsum(daily)]), 0.0)
        areas, closes = visited(rng, radius, {Method.TRACED: rng.uniform(0.10, 0.20)})
        made.append(Course("delayed", areas, closes, turns=turns, lasts=lasts, worsens=worsens))
    return made


_LEAVE = {"heal": 0.06, "still": 0.10, "grow": 0.15}
_NEXT = {
    "heal": (("still", 0.7), ("grow", 0.3)),
    "still": (("heal", 0.7), ("grow", 0.3)),
    "grow": (("heal", 0.6), ("still", 0.4)),
}


def _pace(rng, state, straight):
    if state == "still":
        return 0.0
    if state == "grow":
        return -(rng.uniform(0.1, 0.6) if straight else rng.uniform(0.02, 0.08))
    return rng.lognormal(np.log(0.55), 0.5) if straight else rng.lognormal(np.log(0.12), 0.5)


def _switching(count, rng):
    made = []
    for _ in range(count):
        straight, radius = rng.random() < 0.5, first_radius(rng)
        state = str(rng.choice(["heal", "still", "grow"], p=[0.65, 0.2, 0.15]))
        pace, path = _pace(rng, state, straight), [radius]
        for _ in range(_WEEKS):
            if rng.random() < _LEAVE[state]:
                names, chances = zip(*_NEXT[state], strict=True)
                state = str(rng.choice(names, p=chances))
                pace = _pace(rng, state, straight)
            for _ in range(7):
                now = path[-1]
                path.append(max(now - pace / 7 if straight else now * np.exp(-pace / 7), 0.0))
        gaps = []
        for _ in range(int(rng.integers(1, 3))):
            begin = int(rng.uniform(14, 150))
            gaps.append((begin, begin + int(rng.uniform(21, 50))))
        changes = int(rng.uniform(14, 100)) if rng.random() < 0.2 else None
        ruler = changes is not None or rng.random() < 0.4
        noise = {Method.TRACED: rng.uniform(0.08, 0.15), Method.RULER: rng.uniform(0.15, 0.25)}

        def method(day, ruler=ruler, changes=changes):
            return Method.RULER if ruler and (changes is None or day < changes) else Method.TRACED

        areas, closes = visited(rng, np.array(path), noise, gaps, method, outliers=0.04)
        made.append(Course("switching", areas, closes))
    return made


KINDS = {
    "project": _project,
    "plateaus": _plateaus,
    "exponential": _exponential,
    "delayed": _delayed,
    "switching": _switching,
}
