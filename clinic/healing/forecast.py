"""When a wound may close: an average over courses that may turn, and the distribution of the closing date."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from clinic.healing.bank import Bank, filter_bank, mix, steps_of
from clinic.healing.closing import WEEKS, closing_weeks
from clinic.healing.fan import fan_of
from clinic.healing.prognosis import first_chances
from clinic.healing.series import LONGEST_GAP, Run, recent
from clinic.healing.trend import Floats, TrendModel
from clinic.healing.trend_member import (
    MODEL,
    CurvePoint,
    TrendMember,
    closing_probability,
    radius_error,
    trend_member,
)
from clinic.healing.turning import redrawn

__all__ = [
    "HORIZON",
    "MODEL",
    "CurvePoint",
    "Forecast",
    "closing_probability",
    "forecast",
    "forecast_many",
    "radius_error",
]

HORIZON = 7 * WEEKS
"""Days after the last area beyond which a closing date is not named. [d]"""

_FILTER_PART = 0.2
"""Part of the trend filter in the average before any area; the bank of turning courses has the rest; design
choice. [-]"""

_LEAST_AREAS = 3
_NAMED_FROM = 5
_TAIL = 0.10
_BLOCK = 100  # wounds at once, so that the arrays stay in a processor's cache
_DAYS: Floats = np.arange(WEEKS + 1, dtype=np.float64) * 7.0


@dataclass(frozen=True, slots=True)
class Forecast:
    """Closing of one wound as seen from its last area.

    Parameters
    ----------
    n : int
        Areas it rests on.
    median, low, high : datetime.date or None
        Closing dates reached with chance 50, 10 and 90 %; None when not within 52 weeks of the last area.
    chance_12w, chance_20w : float
        Chance of being closed 12 and 20 weeks after the first area; 0 when that day is past and the wound was
        open on it or later. [-]
    chance_next_8w : float
        Chance of closing within 8 weeks after the last area. [-]
    radius, radius_error : float
        Radius on the last day and its standard deviation. [mm]
    trend, trend_error : float
        Its trend, negative when closing, and standard deviation. [mm/week]
    still, growing : float
        Chance that the course stands still, or grows, at the last area. [-]
    weeks : tuple of float
        Chance of having closed by each of 0 to 52 weeks after the last area. [-]
    last : datetime.date
        Day of the last area.
    curve : tuple of CurvePoint
        Smoothed radius from first to last area.
    fan : tuple of CurvePoint
        Predicted radius from the last area, weekly, to the late closing date or the horizon.
    """

    n: int
    median: date | None
    low: date | None
    high: date | None
    chance_12w: float
    chance_20w: float
    chance_next_8w: float
    radius: float
    radius_error: float
    trend: float
    trend_error: float
    still: float
    growing: float
    weeks: tuple[float, ...]
    last: date
    curve: tuple[CurvePoint, ...] = ()
    fan: tuple[CurvePoint, ...] = ()

    @property
    def names_date(self) -> bool:
        """Whether a screen may name a date: from the fifth area on, before that only the chances.

        Prediction from fewer than five weekly areas missed the closing date (Cukjati 2001, Med Biol Eng
        Comput 39:263-271).
        """
        return self.n >= _NAMED_FROM

    def chance_by(self, days: float) -> float:
        """Chance of having closed so many days after the last area; beyond 52 weeks that of 52 weeks. [-]"""
        return float(np.interp(days, _DAYS, self.weeks))

    def day_of(self, chance: float) -> date | None:
        """First day on which that chance of having closed is reached; None if not within 52 weeks."""
        return _day_of(self.last, self.weeks, chance)


def forecast(
    run: Run,
    breaks: Iterable[date] = (),
    model: TrendModel = MODEL,
    today: date | None = None,
    prognosis: float | None = None,
) -> Forecast | None:
    """Forecast of one wound, with the smoothed curve and the fan of a chart.

    Parameters
    ----------
    run : Run
        Areas of one kind, from ``last_run``.
    breaks : iterable of datetime.date
        Days on which device, plan, debridement policy or perfusion changed; on the day of an area the change
        counts as after it.
    model : TrendModel
        Constants of the trend filter.
    today : datetime.date or None
        Day it is asked; None takes that of the last area.
    prognosis : float or None
        Chance of closing within 20 weeks of the first area, from ``prognosis_of``; it weighs while areas are
        few. [-]

    Returns
    -------
    Forecast or None
        None under 3 areas since the last gap of more than 8 weeks, when the last area is 0, or more than 8
        weeks after it.
    """
    return forecast_many([(run, tuple(breaks))], model, True, today, [prognosis])[0]


def forecast_many(
    wounds: Sequence[tuple[Run, Sequence[date]]],
    model: TrendModel = MODEL,
    curves: bool = False,
    today: date | None = None,
    prognoses: Sequence[float | None] | None = None,
) -> tuple[Forecast | None, ...]:
    """Forecasts of many wounds in one pass.

    Parameters
    ----------
    wounds : sequence of (Run, breaks)
        As for ``forecast``.
    model : TrendModel
        Constants of the trend filter.
    curves : bool
        Whether to compute the smoothed curve and the fan as well.
    today : datetime.date or None
        As for ``forecast``.
    prognoses : sequence of float or None
        As for ``forecast``, one a wound; None where none is known. [-]

    Returns
    -------
    tuple of Forecast or None
        In the order given.

    Notes
    -----
    The law of the closing date is the average of the laws of the bank (``bank.filter_bank``,
    ``closing.closing_weeks``) and of the trend filter, weighed by how well each foresaw the areas after the
    first (Bayesian model averaging).
    """
    answers: list[Forecast | None] = [None] * len(wounds)
    able: list[int] = []
    chosen: list[tuple[Run, Sequence[date]]] = []
    known: list[float] = []
    for index, (run, breaks) in enumerate(wounds):
        part = recent(run)
        is_stale = today is not None and (today - run.last.day).days > LONGEST_GAP
        if len(part.areas) >= _LEAST_AREAS and part.last.area > 0 and not is_stale:
            able.append(index)
            chosen.append((part, breaks))
            chance = None if prognoses is None or part is not run else prognoses[index]
            known.append(np.nan if chance is None else chance)
    for start in range(0, len(able), _BLOCK):
        block = slice(start, start + _BLOCK)
        spans = [wounds[index][0].span for index in able[block]]
        tilts = _tilts(chosen[block], np.array(known[block]))
        for index, found in zip(able[block], _block(chosen[block], spans, tilts, model, curves), strict=True):
            answers[index] = found
    return tuple(answers)


def _tilts(chosen: Sequence[tuple[Run, Sequence[date]]], chances: Floats) -> Floats | None:
    if np.isnan(chances).all():
        return None
    return first_chances(np.array([run.first.radius for run, _ in chosen]), chances)


def _block(
    chosen: Sequence[tuple[Run, Sequence[date]]],
    spans: Sequence[int],
    tilts: Floats | None,
    model: TrendModel,
    curves: bool,
) -> list[Forecast]:
    banks, likely = _banks(chosen, tilts)
    member = trend_member(chosen, _DAYS, model, curves)
    gap = likely - member.log_likelihood + np.log((1.0 - _FILTER_PART) / _FILTER_PART)
    part_of_bank = 1.0 / (1.0 + np.exp(-np.clip(gap, -500.0, 500.0)))
    weeks = part_of_bank[:, None] * closing_weeks(banks) + (1.0 - part_of_bank[:, None]) * member.law
    figures = _figures(banks, member, part_of_bank)
    answers = []
    for row, ((run, _), span) in enumerate(zip(chosen, spans, strict=True)):
        law = tuple(weeks[row].tolist())
        low, median, high = (_day_of(run.last.day, law, chance) for chance in (_TAIL, 0.5, 1.0 - _TAIL))
        fan = fan_of(tuple(_row(bank, row) for bank in banks), run.last.day, high) if curves else ()
        answers.append(
            Forecast(
                n=len(run.areas),
                median=median,
                low=low,
                high=high,
                chance_12w=_chance(law, 84 - span),
                chance_20w=_chance(law, 140 - span),
                chance_next_8w=_chance(law, 56),
                weeks=law,
                last=run.last.day,
                curve=member.curves[row],
                fan=fan,
                **{name: float(values[row]) for name, values in figures.items()},
            )
        )
    return answers


def _day_of(last: date, law: Sequence[float], chance: float) -> date | None:
    reached = np.flatnonzero(np.array(law) >= chance)
    if reached.size == 0:
        return None
    week = int(reached[0])
    if week == 0:
        return last
    before, after = law[week - 1], law[week]
    part = 1.0 if after <= before else (chance - before) / (after - before)
    return last + timedelta(days=max(1, int(np.ceil(7.0 * (week - 1 + part) - 1e-9))))


def _chance(law: Sequence[float], day: int) -> float:
    return 0.0 if day <= 0 else float(np.interp(day, _DAYS, law))


def _banks(
    chosen: Sequence[tuple[Run, Sequence[date]]], tilts: Floats | None
) -> tuple[tuple[Bank, ...], Floats]:
    """The bank after the last area; a change of treatment on that day or later is taken as one of that
    day."""
    steps = []
    late = np.zeros(len(chosen), dtype=bool)
    for row, (run, breaks) in enumerate(chosen):
        inner = {(day - run.first.day).days for day in breaks}
        late[row] = any(day >= run.span for day in inner)
        steps.append((run.areas, steps_of(run.days, sorted(day for day in inner if 0 < day < run.span))))
    errors = [[radius_error(area) for area in run.areas] for run, _ in chosen]
    banks, likely = filter_bank(steps, errors, tilts)
    return tuple(_redrawn(bank, late) for bank in banks) if late.any() else banks, likely


def _redrawn(bank: Bank, on: NDArray[np.bool_]) -> Bank:
    parts = (bank.weight.copy(), bank.level.copy(), bank.variance.copy())
    mixed = mix(parts[0][on], parts[1][on], parts[2][on], redrawn(bank.shape))
    for part, new in zip(parts, mixed, strict=True):
        part[on] = new
    return Bank(bank.shape, *parts)


def _row(bank: Bank, row: int) -> Bank:
    one = slice(row, row + 1)
    return Bank(bank.shape, bank.weight[one], bank.level[one], bank.variance[one])


def _figures(banks: Sequence[Bank], member: TrendMember, part_of_bank: Floats) -> dict[str, Floats]:
    """Radius and trend of the average with their errors, and where the course stands."""
    radius, square = _moments([(bank.weight, *_radius(bank)) for bank in banks])
    trend, trend_square = _moments([(bank.weight, *_trend(bank)) for bank in banks])
    rest = 1.0 - part_of_bank
    mean = part_of_bank * radius + rest * member.level
    second = part_of_bank * square + rest * (member.level_var + member.level**2)
    trend_mean = part_of_bank * trend + rest * member.trend * 7.0
    trend_second = part_of_bank * trend_square + rest * 49.0 * (member.trend_var + member.trend**2)

    def share(sign: int) -> Floats:
        on = [(bank.weight * (np.sign(bank.shape.paces) == sign)).sum(axis=(1, 2)) for bank in banks]
        return np.sum(on, axis=0)

    return {
        "radius": mean,
        "radius_error": np.sqrt(np.maximum(second - mean**2, 0.0)),
        "trend": trend_mean,
        "trend_error": np.sqrt(np.maximum(trend_second - trend_mean**2, 0.0)),
        "still": share(0),
        "growing": share(-1),
    }


def _moments(parts: Sequence[tuple[Floats, Floats, Floats]]) -> tuple[Floats, Floats]:
    first = np.sum([(weight * mean).sum(axis=(1, 2)) for weight, mean, _ in parts], axis=0)
    second = np.sum([(weight * square).sum(axis=(1, 2)) for weight, _, square in parts], axis=0)
    return first, second


def _radius(bank: Bank) -> tuple[Floats, Floats]:
    """Mean and mean square of the radius of each member."""
    if not bank.shape.is_share:
        return bank.level, bank.level**2 + bank.variance
    level, variance = np.minimum(bank.level, 6.0), np.minimum(bank.variance, 1.0)
    return np.exp(level + variance / 2.0), np.exp(2.0 * level + 2.0 * variance)


def _trend(bank: Bank) -> tuple[Floats, Floats]:
    pace = -np.array(bank.shape.paces)
    mean, square = _radius(bank) if bank.shape.is_share else (np.ones_like(bank.level),) * 2
    return pace * mean, pace**2 * square
