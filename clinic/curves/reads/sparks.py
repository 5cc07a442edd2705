"""The small line of a wound's last areas, to put into a page."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date

from django.utils.safestring import SafeString, mark_safe

from clinic.charts.sparkline import sparkline_svg

__all__ = ["spark"]

Point = tuple[date, float | None]


def spark(points: Iterable[Point], *, width: int = 96, height: int = 24) -> SafeString:
    """The line of some days and areas."""
    # Drawn by our own code from dates and numbers only.
    return mark_safe(sparkline_svg(tuple(points), width=width, height=height))  # noqa: S308
