"""A day in words."""

from __future__ import annotations

from datetime import date

from django.utils.formats import date_format

__all__ = ["day_words"]


def day_words(day: date) -> str:
    """The day as every page shows it; the program speaks one language."""
    return date_format(day, "DATE_FORMAT")
