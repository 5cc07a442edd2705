"""What may not be done to a plan."""

from __future__ import annotations

__all__ = ["PlanChanged", "PlanRefused"]


class PlanRefused(Exception):
    """What may not be done to a plan, in one sentence. `field` names the form field it concerns."""

    def __init__(self, message: str, field: str | None = None) -> None:
        super().__init__(message)
        self.message = message
        self.field = field


class PlanChanged(PlanRefused):
    """The plan was changed since the page was opened."""
