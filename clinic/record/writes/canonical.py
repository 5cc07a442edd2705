"""One text for one value, whatever the database does to JSON."""

from __future__ import annotations

import json
from typing import Any

__all__ = ["canonical"]

_encode = json.JSONEncoder(sort_keys=True, separators=(",", ":"), ensure_ascii=False, default=str).encode


def canonical(value: Any) -> str:
    """One text for one value, whatever the database does to JSON."""
    return _encode(value)
