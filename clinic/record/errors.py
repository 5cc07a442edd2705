"""What a write refuses, as one sentence tied to the form field it concerns."""

from __future__ import annotations

__all__ = ["Conflict", "Refused", "words_needed"]


class Refused(Exception):
    """A write the rules of the clinic do not allow. `field` is None when it concerns the whole form."""

    def __init__(self, message: str, *, field: str | None = None) -> None:
        super().__init__(message)
        self.message = message
        self.field = field


class Conflict(Refused):
    """Someone else changed the record since the page was opened."""


def words_needed(text: str, field: str) -> str:
    """The words without the space around them; refused where nothing was said."""
    if not text.strip():
        raise Refused("Say in words why.", field=field)
    return text.strip()
