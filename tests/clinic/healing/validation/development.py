"""The small set the forecast was developed on: other kinds, ranges and seeds than those of ``generators.py``
that judge it.

* ``bent``: r to the power p falls in a straight line, p 0.3-1.6; time to closing log-normal, median 14
  weeks, log-sd 0.7; 15 % end flat at 30-90 % of their first radius. Noise 6-25 %.
* ``halting``: straight, log-normal median 0.6 mm a week, log-sd 0.6; each wound halts with its own chance a
  week, 0-8 %, for a geometric while (mean 8 weeks), and in one halt in five grows by 0.05-0.4 mm a week
  instead. Noise 6-18 %.
* ``late``: flat for 0-6 weeks, then falling by a log-normal share of the area (median 22 % a week, log-sd
  0.5); one in six grows by 1-5 % of the radius a week for good. Noise 6-25 %.

``python -m tests.clinic.healing.validation.development [count]``
"""

import sys

import numpy as np

from clinic.healing.series import Method
from tests.clinic.healing.validation.generators import _WEEKS, Course, first_radius, visited
from tests.clinic.healing.validation.judging import HEAD, WEEKS, line, marks_of, said_of, together

DEVELOPMENT = 777


def development(count, seed=DEVELOPMENT):
    made = []
    for number, make in enumerate((_bent, _halting, _late)):
        rng = np.random.default_rng([seed, number])
        made += [make(rng) for _ in range(count)]
    return made


def _bent(rng):
    start, power = first_radius(rng), rng.uniform(0.3, 1.6)
    weeks = rng.lognormal(np.log(14), 0.7)
    left = np.maximum(1.0 - np.arange(7 * _WEEKS + 1) / (7 * weeks), 0.0) ** (1 / power)
    if rng.random() < 0.15:
        left = np.maximum(left, rng.uniform(0.3, 0.9))
    areas, closes = visited(rng, start * left, {Method.TRACED: rng.uniform(0.06, 0.25)})
    return Course("bent", areas, closes)


def _halting(rng):
    start, pace, chance = first_radius(rng), rng.lognormal(np.log(0.6), 0.6) / 7, rng.uniform(0.0, 0.08) / 7
    daily, day = np.full(7 * _WEEKS, pace), 0
    while chance > 0:
        day += int(rng.geometric(chance))
        if day >= daily.size:
            break
        length = int(rng.geometric(1 / 56))
        daily[day : day + length] = -rng.uniform(0.05, 0.4) / 7 if rng.random() < 0.2 else 0.0
        day += length
    radius = np.maximum(start - np.concatenate([[0.0], np.cumsum(daily)]), 0.0)
    areas, closes = visited(rng, radius, {Method.TRACED: rng.uniform(0.06, 0.18)})
    return Course("halting", areas, closes)


def _late(rng):
    daily = np.full(7 * _WEEKS, -0.5 * np.log1p(-min(rng.lognormal(np.log(0.22), 0.5), 0.7)) / 7)
    daily[: int(rng.uniform(0, 43))] = 0.0
    if rng.random() < 1 / 6:
        daily[:] = -rng.uniform(0.01, 0.05) / 7
    radius = first_radius(rng) * np.exp(-np.concatenate([[0.0], np.cumsum(daily)]))
    areas, closes = visited(rng, radius, {Method.TRACED: rng.uniform(0.06, 0.25)})
    return Course("late", areas, closes)


if __name__ == "__main__":
    courses = development(int(sys.argv[1]) if len(sys.argv) > 1 else 500)
    said = [said_of(courses, week) for week in WEEKS]
    print(HEAD)
    for one in said:
        print(line(f"week {one.week}", marks_of(one)))
    pool = together(said)
    for kind in ("bent", "halting", "late"):
        print(line(kind, marks_of(pool.of(pool.kind == kind))))
