"""What a write refuses, as one sentence tied to the form field it concerns; and what no reading can read."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import InvalidOperation

from django.db import DataError, OperationalError

__all__ = ["UNREADABLE", "Conflict", "Refused", "Way", "words_needed"]

#: What reading a value raises that is no value of its column; the last: SQLite gave nothing for a time.
UNREADABLE = (ValueError, TypeError, InvalidOperation, DataError, OperationalError, AttributeError)


@dataclass(frozen=True)
class Way:
    """Where what is missing is put right: a page by its name, the key it takes, and the words of the link."""

    route: str
    key: object
    words: str


class Refused(Exception):
    """A write the rules of the clinic do not allow. `field` is None when it concerns the whole form; `way`
    leads to where it is put right; `parts` are the refusals of one that names several.
    """

    def __init__(
        self,
        message: str,
        *,
        field: str | None = None,
        way: Way | None = None,
        parts: Sequence[Refused] = (),
    ) -> None:
        super().__init__(message)
        self.message = message
        self.field = field
        self.way = way
        self.parts: tuple[Refused, ...] = tuple(parts) or (self,)


class Conflict(Refused):
    """Someone else changed the record since the page was opened."""


def words_needed(text: str, field: str) -> str:
    """The words without the space around them; refused where nothing was said."""
    if not text.strip():
        raise Refused("Say in words why.", field=field)
    return text.strip()
