"""Reading from a replica: only the pages that say so, and never inside a transaction that writes.

A replica lags behind by moments. Whoever has just saved a visit must see it, so everyday pages read where
they write; the audit's figures and lists, which are heavy and of yesterday anyway, may read elsewhere.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from functools import wraps
from typing import Any

from django.db import connections

__all__ = ["ReplicaRouter", "from_replica", "reading_replica"]

REPLICA = "replica"
_reading: ContextVar[bool] = ContextVar("reading_replica", default=False)


@contextmanager
def reading_replica() -> Iterator[None]:
    """Reads inside go to the replica, if there is one."""
    token = _reading.set(True)
    try:
        yield
    finally:
        _reading.reset(token)


def from_replica(view: Callable[..., Any]) -> Callable[..., Any]:
    """A view that only reads, and may read what was true some moments ago."""

    @wraps(view)
    def wrapped(*args: Any, **kwargs: Any) -> Any:
        with reading_replica():
            return view(*args, **kwargs)

    return wrapped


class ReplicaRouter:
    """In DATABASE_ROUTERS only where DATABASE_REPLICA_URL names a replica."""

    def db_for_read(self, model: Any, **hints: Any) -> str | None:
        if _reading.get() and not connections["default"].in_atomic_block:
            return REPLICA
        return None

    def db_for_write(self, model: Any, **hints: Any) -> str:
        return "default"

    def allow_relation(self, one: Any, other: Any, **hints: Any) -> bool:
        return True

    def allow_migrate(self, db: str, app_label: str, **hints: Any) -> bool | None:
        return False if db == REPLICA else None
