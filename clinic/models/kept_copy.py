"""What each history copy has beside its row's columns: a random word that only the copy and its hash know."""

from __future__ import annotations

import secrets
from contextvars import ContextVar
from functools import cache
from typing import Any

from django.db import models
from simple_history.manager import HistoryManager

__all__ = ["Copies", "KeptCopy", "take_new_copies"]

#: Copies that were written and that no audit row carries yet: model, number, salt.
_NEW: ContextVar[list[tuple[type[models.Model], int, str]] | None] = ContextVar("new_copies", default=None)


class Copies(HistoryManager):  # type: ignore[misc]
    """`row.history`; its class is made once, where the library makes it anew at each asking."""

    @classmethod
    @cache
    def from_queryset(cls, queryset_class: Any, class_name: str | None = None) -> Any:
        return super().from_queryset(queryset_class, class_name)


def _salt() -> str:
    return secrets.token_hex(16)


class KeptCopy(models.Model):
    """Base of the history copies.

    The chain keeps a hash of every copy. The salt goes with the copy when a person is erased; without it the
    hash that stays says nothing, however few names and birth dates there are to try (128 bits: design
    choice).
    """

    salt = models.CharField(max_length=32, default=_salt, editable=False)

    class Meta:
        abstract = True

    def save(self, *args: Any, **kwargs: Any) -> None:
        super().save(*args, **kwargs)
        written = _NEW.get() or []
        written.append((type(self), self.history_id, self.salt))  # type: ignore[attr-defined]
        _NEW.set(written)


def take_new_copies() -> list[tuple[type[models.Model], int, str]]:
    """The copies written since the last call; some may be of a transaction that was taken back."""
    written = _NEW.get() or []
    _NEW.set([])
    return written
