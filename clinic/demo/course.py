"""How an invented wound runs: a small model of its radius with measuring noise, from a seeded generator."""

from __future__ import annotations

import math
from random import Random

__all__ = ["COURSES", "areas", "outline"]

#: Course -> radius as a share of the first, by week. Invented, chosen to show each verdict.
COURSES = {
    "healing": lambda week: 1 - week / 12,
    "fast": lambda week: 1 - week / 7.5,
    "slow": lambda week: 1 - week / 42,
    "stalled": lambda week: 1 - min(week, 4) / 16,
    "worsening": lambda week: 1 - min(week, 3) / 20 + max(0, week - 3) * 0.07,
    "turned": lambda week: 1 - min(week, 6) / 36 - max(0, week - 6) / 13,
    "late": lambda week: 1 - max(0, week - 5) / 9,
}
#: Spread of one measured area about the true one (design choice of the scenario).
NOISE = 0.04
#: Below this radius the wound is found covered. [mm]
COVERED_MM = 1.0


def areas(course: str, first_cm2: float, weeks: int, seed: Random) -> list[float]:
    """Measured areas at weeks 0, 1, 2 … [cm²]; 0 from the week in which the wound is found covered."""
    radius = math.sqrt(first_cm2 * 100 / math.pi)
    found = []
    for week in range(weeks):
        now = radius * max(0.0, COURSES[course](week))
        if now < COVERED_MM:
            found.append(0.0)
            continue
        found.append(round(math.pi * now**2 / 100 * math.exp(seed.gauss(0, NOISE)), 3))
    return found


def outline(area_cm2: float, shape: Random, points: int = 28) -> tuple[tuple[float, float], ...]:
    """A closed wavy outline of exactly this area, centred on the origin. [mm]"""
    waves = [(k, shape.uniform(0, 0.16 / k), shape.uniform(0, 2 * math.pi)) for k in (2, 3, 4)]
    ring = []
    for i in range(points):
        turn = 2 * math.pi * i / points
        r = 1 + sum(a * math.cos(k * turn + phase) for k, a, phase in waves)
        ring.append((r * math.cos(turn), r * math.sin(turn)))
    size = (
        abs(sum(x0 * y1 - x1 * y0 for (x0, y0), (x1, y1) in zip(ring, ring[1:] + ring[:1], strict=True))) / 2
    )
    scale = math.sqrt(area_cm2 * 100 / size)
    return tuple((round(x * scale, 2), round(y * scale, 2)) for x, y in ring)
