"""The error family of the relief core: every message names field, value and limit."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass

__all__ = [
    "Fault",
    "ImpossibleRelief",
    "OutlineError",
    "Path",
    "RectifyError",
    "ReliefError",
    "SpecError",
    "faults_of",
    "shown",
    "where",
]

Path = tuple[str | int, ...]
"""Where a value stands in a specification, such as ``("lesions", 0, "length_mm")``; empty for all of it."""

LONGEST_SHOWN = 60


def shown(value: object) -> str:
    """A value as it stands in the file, on one line and cut short."""
    try:
        text = json.dumps(value, ensure_ascii=True)
    except (TypeError, ValueError):
        text = repr(value)
    return text if len(text) <= LONGEST_SHOWN else f"{text[:LONGEST_SHOWN]}…"


def where(path: Path) -> str:
    """A path as one reads it: ``lesions[0].length_mm``."""
    text = ""
    for key in path:
        text += f"[{key}]" if isinstance(key, int) else f".{key}" if text else key
    return text


@dataclass(frozen=True)
class Fault:
    """One wrong value of a specification; a page finds its field by the path and words it there.

    Parameters
    ----------
    path : tuple of str and int
        Where the value stands.
    value : object
        What was given.
    limit : str
        What is allowed, in words; empty where `found` says it already.
    found : str
        What is wrong, where "is value" does not say it.
    subject : str or None
        What a sentence begins with, where that is not the path.
    """

    path: Path
    value: object
    limit: str
    found: str = ""
    subject: str | None = None

    @property
    def words(self) -> str:
        """What is wrong and what is allowed, without naming the field."""
        found = self.found or f"is {shown(self.value)}"
        return f"{found}; the limit is {self.limit}" if self.limit else found

    def __str__(self) -> str:
        subject = where(self.path) if self.subject is None else self.subject
        return f"{subject} {self.words}" if subject else self.words


class ReliefError(ValueError):
    """Base of all errors of this package."""


class OutlineError(ReliefError):
    """An outline is not a simple closed ring with an area."""


class RectifyError(ReliefError):
    """A photograph cannot be brought to scale with the points given."""


class SpecError(ReliefError):
    """One or more fields of a relief specification are wrong.

    Attributes
    ----------
    faults : tuple of Fault
        In the order in which they were found.
    """

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults: tuple[Fault, ...] = tuple(faults)
        super().__init__("\n".join(map(str, self.faults)))


class ImpossibleRelief(SpecError):
    """The asked margins, bevel and layers leave no opening that can be cut."""


def faults_of(error: ReliefError) -> tuple[Fault, ...]:
    """The faults of an error; one that names no field is a fault of the whole specification."""
    return error.faults if isinstance(error, SpecError) else (Fault((), None, "", str(error), ""),)
