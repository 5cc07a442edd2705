"""Forecasts beside a plain loop that does the same.

Survival has no row: the goals for the speed of the estimate and of the log-rank test over a plain loop and
over another library were withdrawn, since no page waits for them.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from datetime import date, timedelta

import numpy as np
from scipy.special import ndtr

from clinic.healing.forecast import HORIZON, MODEL, forecast_many, radius_error
from clinic.healing.series import Area, Run
from clinic.healing.trend_member import trend_member
from clinic.healing.turning import CLOSED_RADIUS

from .rows import Row, best

LESIONS, AREAS = 1_000, 14


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
