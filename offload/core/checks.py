"""Checks of a relief plan that need no pressure, each a sentence with value and limit."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["Check"]


@dataclass(frozen=True)
class Check:
    """One checked property of a plan.

    Parameters
    ----------
    id : str
        Stable name.
    severity : str
        ``error``, ``warn`` or ``note``: how loud it is when it is flagged.
    passed : bool
        True means *not flagged*; it never means that the plan is safe.
    value, limit : float, str or None
        What was found and what it is held against.
    message : str
        One sentence.
    """

    id: str
    severity: str
    passed: bool
    value: float | str | None
    limit: float | str | None
    message: str
