"""Survival and forecasts beside plain loops that do the same."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from datetime import date, timedelta

import numpy as np
from scipy.special import ndtr

from clinic.healing.forecast import HORIZON, MODEL, forecast_many, radius_error
from clinic.healing.series import Area, Run
from clinic.healing.survival import kaplan_meier, logrank
from clinic.healing.trend_member import trend_member
from clinic.healing.turning import CLOSED_RADIUS

from .rows import Row, best

PEOPLE, LESIONS, AREAS = 1_000_000, 1_000, 14


def censored(seed: int, n: int, mean: float = 90.0) -> tuple[np.ndarray, np.ndarray]:
    """Days to healing, seen up to an end of follow-up."""
    rng = np.random.default_rng(seed)
    healing, end = rng.exponential(mean, n), rng.uniform(10.0, 180.0, n)
    return np.ceil(np.minimum(healing, end)), (healing <= end).astype(int)


def plain_kaplan_meier(
    durations: Sequence[float], events: Sequence[int]
) -> list[tuple[float, float, float, float]]:
    """Product limit with log-log intervals, one subject after another."""
    tally: dict[float, list[int]] = {}
    for duration, event in zip(durations, events, strict=True):
        at = tally.setdefault(duration, [0, 0])
        at[0] += 1
        at[1] += event
    risk, share, greenwood, steps = len(durations), 1.0, 0.0, []
    for when in sorted(tally):
        left, failed = tally[when]
        if failed:
            share *= 1.0 - failed / risk
            if risk > failed:
                greenwood += failed / (risk * (risk - failed))
            low = high = 0.0
            if 0.0 < share < 1.0:
                width = 1.959963984540054 * math.sqrt(greenwood) / math.log(share)
                low, high = share ** math.exp(-width), share ** math.exp(width)
            steps.append((when, share, low, high))
        risk -= left
    return steps


def plain_logrank(one: tuple[list[float], list[int]], other: tuple[list[float], list[int]]) -> float:
    """Log-rank of two groups, one time after another."""
    tally: dict[float, list[int]] = {}
    for group, (durations, events) in enumerate((one, other)):
        for duration, event in zip(durations, events, strict=True):
            at = tally.setdefault(duration, [0, 0, 0, 0])
            at[2 * group] += 1
            at[2 * group + 1] += event
    n1, n2 = len(one[0]), len(other[0])
    difference = variance = 0.0
    for when in sorted(tally):
        left1, failed1, left2, failed2 = tally[when]
        n, d = n1 + n2, failed1 + failed2
        if d and n > 1:
            difference += failed1 - d * n1 / n
            variance += d * (n - d) / (n - 1) * (n1 / n) * (n2 / n)
        n1, n2 = n1 - left1, n2 - left2
    return difference**2 / variance


def wounds(n: int = LESIONS, k: int = AREAS) -> list[Run]:
    rng = np.random.default_rng(4)
    first = date(2024, 3, 4)
    made = []
    for _ in range(n):
        days = np.concatenate([[0], np.cumsum(rng.integers(5, 10, k - 1))])
        radius = np.maximum(rng.uniform(5, 12) - rng.uniform(0.01, 0.06) * days + rng.normal(0, 0.3, k), 1.0)
        areas = [
            Area(first + timedelta(days=int(day)), float(np.pi * r * r))
            for day, r in zip(days, radius, strict=True)
        ]
        made.append(Run(tuple(areas)))
    return made


def plain_filter(run: Run) -> tuple[float, float, float]:
    """Filter with numpy's 2 × 2 matrices and its law of the closing date week by week; radius, trend, chance
    in 8 weeks."""
    errors = [radius_error(area) ** 2 for area in run.areas]
    x = np.array([run.areas[0].radius, MODEL.start_trend])
    p = np.diag([errors[0], MODEL.start_spread**2])
    sight = np.array([[1.0, 0.0]])
    a, b = MODEL.level_noise, MODEL.trend_noise

    def ahead(d: float) -> tuple[np.ndarray, np.ndarray]:
        noise = np.array([[a * d + b * d**3 / 3, b * d**2 / 2], [b * d**2 / 2, b * d]])
        return np.array([[1.0, d], [0.0, 1.0]]), noise

    for k in range(1, len(run.areas)):
        move, noise = ahead(float(run.days[k] - run.days[k - 1]))
        x, p = move @ x, move @ p @ move.T + noise
        spread = sight @ p @ sight.T + errors[k]
        gain = p @ sight.T @ np.linalg.inv(spread)
        x = x + gain @ (run.areas[k].radius - sight @ x)
        p = p - gain @ sight @ p
    law, now = [], float(ndtr((CLOSED_RADIUS - x[0]) / math.sqrt(p[0, 0])))
    for day in range(0, HORIZON + 1, 7):
        move, noise = ahead(float(day))
        mean, spread = move @ x, move @ p @ move.T + noise
        chance = float(ndtr((CLOSED_RADIUS - mean[0]) / math.sqrt(max(spread[0, 0], 1e-12))))
        law.append(max(chance, law[-1]) if law else chance)
    return float(x[0]), float(x[1]), (law[8] - now) / max(1.0 - now, 1e-12)


def rows() -> Iterator[Row]:
    durations, events = censored(1, PEOPLE)
    listed = durations.tolist(), events.tolist()
    steps = np.array(plain_kaplan_meier(*listed))
    ours = np.array([(p.time, p.survival, p.low, p.high) for p in kaplan_meier(durations, events).curve])
    np.testing.assert_allclose(ours[:-1], steps[:-1], rtol=1e-9)
    yield Row(
        "Kaplan-Meier with intervals",
        f"{PEOPLE:,} people, whole days",
        best(lambda: kaplan_meier(durations, events)),
        "plain Python loop",
        best(lambda: plain_kaplan_meier(*listed)),
        True,
    )
    groups = [censored(5, PEOPLE // 2), censored(6, PEOPLE // 2, 91.0)]
    plain = [(d.tolist(), e.tolist()) for d, e in groups]
    test = logrank(groups)
    if test is None or abs(test.chi2 - plain_logrank(*plain)) > 1e-6:
        raise AssertionError("the two log-rank tests differ; a ratio would mean nothing")
    yield Row(
        "log-rank of two groups",
        f"{PEOPLE:,} people, whole days",
        best(lambda: logrank(groups)),
        "plain Python loop",
        best(lambda: plain_logrank(*plain)),
        True,
    )
    runs = wounds()
    pairs = [(run, ()) for run in runs]
    weeks = 7.0 * np.arange(HORIZON // 7 + 1)
    member = trend_member(pairs, weeks)
    for row, (radius, trend, chance) in enumerate(map(plain_filter, runs[:50])):
        told = (member.level[row], member.trend[row], member.law[row, 8])
        np.testing.assert_allclose(told, (radius, trend, chance), atol=1e-9)
    yield Row(
        "trend filter and its law of closing",
        f"{LESIONS:,} lesions of {AREAS} areas",
        best(lambda: trend_member(pairs, weeks)),
        "numpy matrices, lesion by lesion",
        best(lambda: [plain_filter(run) for run in runs], 1),
        True,
    )
    yield Row(
        "forecasts of closing dates",
        f"{LESIONS:,} lesions of {AREAS} areas",
        best(lambda: forecast_many(pairs)),
        "trend filter alone, numpy matrices, lesion by lesion",
        best(lambda: [plain_filter(run) for run in runs], 1),
        False,
    )
