"""Times of both sides of a comparison, taken in one run on one machine."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any

__all__ = ["seconds"]


def seconds(work: Callable[[], Any], repeats: int = 3) -> float:
    """Least wall-clock time of a few runs [s]: the run that the machine's other work disturbed least."""
    best = float("inf")
    for _ in range(repeats):
        start = time.perf_counter()
        work()
        best = min(best, time.perf_counter() - start)
    return best
