"""Forecasts judged on five unlike kinds of invented wounds: ``python -m
tests.clinic.healing.validation.judging [count]``.

Each wound is looked at as of weeks 3, 4, 6, 8, 12 and 16, if it is then open, was seen in the last 8 days
and has three areas of one kind; what was said from nothing later is held against what then happened. The
wounds are those of ``generators.py`` with the seed ``JUDGED``; no constant of the forecast was chosen on
them.
"""

import sys
from dataclasses import dataclass, fields
from math import inf

import numpy as np

from clinic.healing.forecast import forecast_many
from clinic.healing.progress import area_at
from tests.clinic.healing.validation.generators import FIRST_DAY, KINDS, mixture

WEEKS = (3, 4, 6, 8, 12, 16)
JUDGED = 20261130
_HORIZON = 364
_BINS = 10


@dataclass(frozen=True)
class Said:
    """What was said of many wounds in one week, as arrays, and when they closed; days count from the last
    area."""

    week: int
    kind: np.ndarray
    low: np.ndarray
    high: np.ndarray
    next_8: np.ndarray
    by_12: np.ndarray
    by_20: np.ndarray
    span: np.ndarray
    closes: np.ndarray
    closes_from_start: np.ndarray
    passed: np.ndarray
    passed_lately: np.ndarray

    def of(self, on):
        """The part of the wounds where ``on`` holds."""
        parts = (getattr(self, field.name) for field in fields(self)[1:])
        return Said(self.week, *(part[on] for part in parts))


def together(parts):
    """Several weeks pooled."""
    names = [field.name for field in fields(Said)[1:]]
    return Said(0, *(np.concatenate([getattr(part, name) for part in parts]) for name in names))


def looked_at(courses, week):
    """(course, run) of each course open and seen in that week, with three areas of one kind."""
    day = 7 * week
    pairs = []
    for course in courses:
        if course.closes is not None and course.closes <= day:
            continue
        run = course.run(day)
        if len(run.areas) >= 3 and (run.last.day - FIRST_DAY).days >= day - 8 and run.last.area > 0:
            pairs.append((course, run))
    return pairs


def _halved(run, since):
    then = area_at(run, since)
    return then is not None and run.last.area <= 0.5 * then


def said_of(courses, week, forecasts=forecast_many):
    pairs = looked_at(courses, week)
    found = forecasts([(run, ()) for _, run in pairs])
    kept = [(c, r, f) for (c, r), f in zip(pairs, found, strict=True) if f is not None]
    closes = np.array(
        [inf if c.closes is None else float(c.closes - (r.last.day - FIRST_DAY).days) for c, r, _ in kept]
    )
    offset = np.array([(r.last.day - FIRST_DAY).days for _, r, _ in kept], dtype=float)

    def days(name, absent):
        return np.array(
            [
                absent if getattr(f, name) is None else float((getattr(f, name) - r.last.day).days)
                for _, r, f in kept
            ]
        )

    return Said(
        week,
        np.array([c.kind for c, _, _ in kept]),
        days("low", float(_HORIZON)),
        days("high", inf),
        np.array([f.chance_next_8w for _, _, f in kept]),
        np.array([f.chance_12w for _, _, f in kept]),
        np.array([f.chance_20w for _, _, f in kept]),
        np.array([float(r.span) for _, r, _ in kept]),
        closes,
        closes + offset,
        np.array([_day_28(r) for _, r, _ in kept]),
        np.array([_halved(r, max(0, r.span - 28)) for _, r, _ in kept]),
    )


def _day_28(run):
    then = area_at(run, min(28, run.span))
    return then is not None and then <= 0.5 * run.first.area


def calibration_error(said, happened):
    """Expected calibration error in ten bins. [-]"""
    if said.size == 0:
        return 0.0
    number = np.minimum((said * _BINS).astype(int), _BINS - 1)
    return float(
        sum(
            abs(said[on].mean() - happened[on].mean()) * on.mean()
            for b in range(_BINS)
            if (on := number == b).any()
        )
    )


def reliability(said, happened):
    """(lowest, count, mean said, share closed) of each tenth."""
    number = np.minimum((said * _BINS).astype(int), _BINS - 1)
    return [
        (b / _BINS, int(on.sum()), float(said[on].mean()), float(happened[on].mean()))
        for b in range(_BINS)
        if (on := number == b).any()
    ]


def brier(said, happened):
    return float(np.mean((said - happened) ** 2))


def two_chances(marks, happened):
    """Brier score of a rule that says the share closed of those that pass and of those that fail, both known
    to it."""
    said = np.zeros(marks.size)
    for side in (False, True):
        if (on := marks == side).any():
            said[on] = happened[on].mean()
    return brier(said, happened)


@dataclass(frozen=True)
class Marks:
    """The figures of one table row."""

    count: int
    covered: float
    before_low: float
    after_high: float
    finite: float
    ece_8: float
    ece_12: float
    ece_20: float
    brier: float
    base: float
    rule: float


def marks_of(said):
    next_8 = said.closes <= 56
    # The run may begin after the first area where the method changed: its own first area counts then.
    from_run = said.closes + said.span
    by_12, by_20 = from_run <= 84, from_run <= 140
    asked_12, asked_20 = said.span < 84, said.span < 140
    soon = said.closes_from_start <= 280
    base = float(next_8.mean() * (1 - next_8.mean()))
    return Marks(
        count=said.closes.size,
        covered=float(np.mean((said.low <= said.closes) & (said.closes <= said.high))),
        before_low=float(np.mean(said.closes < said.low)),
        after_high=float(np.mean(np.isfinite(said.high) & (said.closes > said.high))),
        finite=float(np.isfinite(said.high[soon]).mean()) if soon.any() else 0.0,
        ece_8=calibration_error(said.next_8, next_8),
        ece_12=calibration_error(said.by_12[asked_12], by_12[asked_12]),
        ece_20=calibration_error(said.by_20[asked_20], by_20[asked_20]),
        brier=brier(said.next_8, next_8),
        base=base,
        rule=min(two_chances(said.passed, next_8), two_chances(said.passed_lately, next_8)),
    )


HEAD = (
    "| | wounds | inside | before low | after high | finite, closed ≤ 40 w | ECE 8 w | ECE 12 w | ECE 20 w | "
    "Brier 8 w | base | of base | 4-week rule |\n|" + " --- |" * 13
)


def line(name, marks):
    return (
        f"| {name} | {marks.count} | {marks.covered:.1%} | {marks.before_low:.1%} | {marks.after_high:.1%} | "
        f"{marks.finite:.0%} | {marks.ece_8:.3f} | {marks.ece_12:.3f} | {marks.ece_20:.3f} | "
        f"{marks.brier:.4f} | {marks.base:.4f} | {marks.brier / max(marks.base, 1e-9):.2f} | "
        f"{marks.rule:.4f} |"
    )


def main(count, seed=JUDGED, forecasts=forecast_many):
    courses = mixture(count, seed)
    said = [said_of(courses, week, forecasts) for week in WEEKS]
    print(f"{count} courses of each kind, seed {seed}\n\n{HEAD}")
    for one in said:
        print(line(f"week {one.week}, pooled", marks_of(one)))
    print(line("all weeks, pooled", marks_of(together(said))))
    for kind in KINDS:
        for one in said:
            print(line(f"{kind}, week {one.week}", marks_of(one.of(one.kind == kind))))
    pool = together(said)
    print("\nChance of closing in the next 8 weeks, all weeks pooled\n\n| from | wounds | said | closed |")
    print("| --- | --- | --- | --- |")
    for low, number, mean, happened in reliability(pool.next_8, pool.closes <= 56):
        print(f"| {low:.1f} | {number} | {mean:.3f} | {happened:.3f} |")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 900)
