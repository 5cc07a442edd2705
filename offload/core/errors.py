"""The error family of the relief core: every message names field, value and limit."""

from __future__ import annotations

from collections.abc import Iterable

__all__ = ["ImpossibleRelief", "OutlineError", "RectifyError", "ReliefError", "SpecError"]


class ReliefError(ValueError):
    """Base of all errors of this package."""


class OutlineError(ReliefError):
    """An outline is not a simple closed ring with an area."""


class RectifyError(ReliefError):
    """A photograph cannot be brought to scale with the points given."""


class ImpossibleRelief(ReliefError):
    """The asked margins, bevel and layers leave no opening that can be cut."""


class SpecError(ReliefError):
    """One or more fields of a relief specification are wrong.

    Attributes
    ----------
    faults : tuple of str
        One sentence for each fault, in the order in which they were found.
    """

    def __init__(self, faults: Iterable[str]) -> None:
        self.faults: tuple[str, ...] = tuple(faults)
        super().__init__("\n".join(self.faults))
