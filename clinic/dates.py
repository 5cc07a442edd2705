"""A day in words, worked out once: a list page says hundreds of days, and formatting one takes longer than reading it."""

from __future__ import annotations

from datetime import date
from functools import lru_cache

from django.utils.formats import date_format

__all__ = ["day_words"]


@lru_cache(maxsize=4000)
def day_words(day: date) -> str:
    """The day as every page shows it; the program speaks one language."""
    return date_format(day, "DATE_FORMAT")
