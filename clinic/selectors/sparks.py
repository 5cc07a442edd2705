"""The small line of a wound's last areas, drawn once: lists show the same ones each time they are opened."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from functools import lru_cache

from django.utils.safestring import SafeString, mark_safe

from clinic.charts.sparkline import sparkline_svg

__all__ = ["spark"]

Point = tuple[date, float | None]


def spark(points: Iterable[Point], *, width: int = 96, height: int = 24) -> SafeString:
    """The line of some days and areas."""
    return _drawn(tuple(points), width, height)


#: Kept under exactly what is drawn, days and areas; 1 kB each.
@lru_cache(maxsize=4000)
def _drawn(points: tuple[Point, ...], width: int, height: int) -> SafeString:
    # Drawn by our own code from dates and numbers only.
    return mark_safe(sparkline_svg(points, width=width, height=height))  # noqa: S308
