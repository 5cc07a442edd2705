"""A clock to play past days by: every row made inside carries the day it tells of."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date, datetime, time
from unittest.mock import patch

from django.utils import timezone


@contextmanager
def at(day: date, hour: int = 9, minute: int = 0) -> Iterator[None]:
    """Let the program believe it is this moment. Only the demonstration uses it."""
    moment = datetime.combine(day, time(hour, minute), tzinfo=timezone.get_current_timezone())
    with patch("django.utils.timezone.now", return_value=moment):
        yield
