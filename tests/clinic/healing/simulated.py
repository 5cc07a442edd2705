"""A seeded cohort of invented wounds, to choose the forecast's constants on and to check its calibration.

Assumptions, all written here because the result depends on them:

* first area: log-normal, median 1.5 cm², log-sd 0.8, cut to 0.3-20 cm²; equivalent radius r;
* pace: the radius falls by a constant rate, log-normal, median 0.5 mm a week, log-sd 0.45, so that nine in
  ten lie in 0.24-1.05: centred on the 0.42-0.57 mm a week of neuropathic ulcers under offloading (Zimny S et
  al., Exp Clin Endocrinol Diabetes 2004;112:191-194);
* the pace wanders: each week it is multiplied by a log-normal factor of log-sd 0.25, new each week;
* course: 55 % steady; 15 % late starters (flat for 2-6 weeks, then steady); 20 % stalls (steady down to
  25-80 % of the first radius, then flat for 4-30 weeks, then at half the pace); 10 % worsening (radius grows
  by 0.1-0.4 mm a week for good). The shares are assumptions without a source;
* measuring: area times a log-normal factor of log-sd 0.12, written to 0.01 cm²; visits weekly, one day early
  or late at times, 12 % missed (never the first); an open wound is never written as 0;
* closing: the day the true area is at most 2 mm²; followed for 104 weeks, else it stays open.
"""

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from clinic.healing.series import Area, Run

__all__ = ["FIRST_DAY", "Wound", "cohort", "seen_by"]

FIRST_DAY = date(2026, 1, 5)
_WEEKS = 104


@dataclass(frozen=True)
class Wound:
    """One invented wound: its course, the day it closes (None = open at week 104), its areas while open.

    ``turns`` is the day a stall begins or a late start ends, ``pause`` how many days a stall lasts.
    """

    course: str
    closes: int | None
    turns: int | None
    run: Run
    pause: int = 0


def cohort(count, seed):
    rng = np.random.default_rng(seed)
    return [_wound(rng) for _ in range(count)]


def seen_by(wounds, day):
    """(wound, run up to that day) of each wound still open then, with at least three areas and a recent
    visit."""
    pairs = []
    for wound in wounds:
        if wound.closes is not None and wound.closes <= day:
            continue
        areas = tuple(a for a, d in zip(wound.run.areas, wound.run.days, strict=True) if d <= day + 1)
        if len(areas) >= 3 and (areas[-1].day - FIRST_DAY).days >= day - 8:
            pairs.append((wound, Run(areas)))
    return pairs


def _wound(rng):
    first = float(np.clip(rng.lognormal(np.log(150.0), 0.8), 30.0, 2000.0))
    start = np.sqrt(first / np.pi)
    pace = rng.lognormal(np.log(0.5), 0.45) / 7.0
    course = str(rng.choice(["steady", "late", "stall", "worse"], p=[0.55, 0.15, 0.20, 0.10]))
    weekly = pace * rng.lognormal(-0.5 * 0.25**2, 0.25, _WEEKS)
    daily = np.repeat(weekly, 7)
    turns, pause = None, 0
    if course == "late":
        turns = int(rng.uniform(14, 43))
        daily[:turns] = 0.0
    elif course == "stall":
        level = start * rng.uniform(0.25, 0.80)
        turns = int(np.searchsorted(np.cumsum(daily), start - level)) + 1
        pause = int(rng.uniform(28, 211))
        daily[turns : turns + pause] = 0.0
        daily[turns + pause :] *= 0.5
    elif course == "worse":
        daily[:] = -rng.uniform(0.1, 0.4) / 7.0
    radius = start - np.concatenate([[0.0], np.cumsum(daily)])
    shut = np.flatnonzero(radius <= np.sqrt(2.0 / np.pi))
    closes = int(shut[0]) if shut.size else None
    areas = []
    for week in range(_WEEKS):
        day = 7 * week + (0 if week == 0 else int(rng.choice([-1, 0, 0, 0, 1])))
        noise, missed = rng.lognormal(0.0, 0.12), rng.random() < 0.12
        if closes is not None and day >= closes:
            break
        if week and missed:
            continue
        area = max(1.0, float(np.round(np.pi * radius[day] ** 2 * noise)))
        areas.append(Area(FIRST_DAY + timedelta(days=day), area))
    return Wound(course, closes, turns, Run(tuple(areas)), pause)
