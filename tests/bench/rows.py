"""One line of the table: what was done, at what size, how long both sides took."""

from __future__ import annotations

import gc
import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any

__all__ = ["Row", "best", "table"]


@dataclass(frozen=True)
class Row:
    """Ours and a reference doing the same work [s]; ``faster`` tells which way the ratio reads.

    ``faster``: the reference is the slow, plain way, and ratio = reference / ours. Otherwise the reference is
    the least that any program must do, and ratio = ours / reference.
    """

    what: str
    size: str
    ours: float
    reference: str
    theirs: float
    faster: bool

    @property
    def ratio(self) -> float:
        return self.theirs / self.ours if self.faster else self.ours / self.theirs


def best(work: Callable[[], Any], repeats: int = 3) -> float:
    """Least wall-clock time of some runs [s], after one that warms caches up."""
    work()
    least = float("inf")
    for _ in range(repeats):
        gc.collect()
        start = time.perf_counter()
        work()
        least = min(least, time.perf_counter() - start)
    return least


def shown(seconds: float) -> str:
    return f"{seconds:.2f} s" if seconds >= 1 else f"{1e3 * seconds:.1f} ms"


def table(rows: Iterable[Row], machine: str) -> str:
    """The whole table as text, with what it was measured on."""
    lines = [("what", "size", "ours", "reference", "its time", "ratio")]
    for row in rows:
        way = "× faster" if row.faster else "× its time"
        lines.append(
            (row.what, row.size, shown(row.ours), row.reference, shown(row.theirs), f"{row.ratio:.1f} {way}")
        )
    widths = [max(len(line[i]) for line in lines) for i in range(6)]
    right = {2, 4, 5}
    text = [
        "  ".join(
            cell.rjust(width) if i in right else cell.ljust(width)
            for i, (cell, width) in enumerate(zip(line, widths, strict=True))
        ).rstrip()
        for line in lines
    ]
    text.insert(1, "  ".join("-" * width for width in widths))
    return "\n".join([machine, "", *text])
