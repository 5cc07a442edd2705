"""What the checks of the record share: how a difference is said, what a pass over the chains found out,
reading in pieces.
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import datetime
from typing import NamedTuple

from django.utils import timezone

from clinic.models import AuditEvent
from clinic.record.errors import UNREADABLE

__all__ = ["PIECE", "ChainSeen", "AlteredPlace", "SealedRow", "day_of", "each", "erased_by_law"]

#: Rows read at a time: design choice, small enough for any machine.
PIECE = 1000


@dataclass(frozen=True)
class AlteredPlace:
    """One place where the record is not as it was written."""

    words: str
    #: What stands there and what stood before: of a person, so only for whoever runs the command.
    values: str = ""

    def __str__(self) -> str:
        return f"{self.words}: {self.values}" if self.values else self.words


class SealedRow(NamedTuple):
    """The hash of a row without copies, and the row of the chain that carries it."""

    at: datetime
    site: int
    sequence: int
    person: int | None
    digest: str


@dataclass
class ChainSeen:
    """What a pass over the chains found out for the checks after it."""

    #: The whole record is read, so that nothing needs to be remembered of what was touched.
    full: bool
    #: Copies that the chain carries and that are there, by table.
    carried: Counter[str] = field(default_factory=Counter)
    #: Rows of each table of which a copy was carried: the daily part looks at these only.
    touched: dict[str, set[int]] = field(default_factory=dict)
    #: Newest hash of each row without copies.
    rows: dict[tuple[str, int], SealedRow] = field(default_factory=dict)


def each(
    table: str,
    keys: list[int],
    look: Callable[[list[int]], Iterator[AlteredPlace]],
    words: str = "cannot be read",
) -> Iterator[AlteredPlace]:
    """Look at rows together; where one cannot be read, by halves, until it is named."""
    try:
        yield from list(look(keys))
    except UNREADABLE:
        if len(keys) == 1:
            yield AlteredPlace(f"{table}: row {keys[0]} {words}: a value is none of its column")
            return
        half = len(keys) // 2
        yield from each(table, keys[:half], look, words)
        yield from each(table, keys[half:], look, words)


def day_of(at: datetime) -> str:
    return f"{timezone.localtime(at):%-d %b %Y}"


def erased_by_law() -> tuple[set[int], dict[str, set[int]], dict[str, set[int]]]:
    """People, rows by table and single copies by table that erasures by law removed, as the chain tells."""
    people: set[int] = set()
    rows: dict[str, set[int]] = {}
    copies: dict[str, set[int]] = {}
    for event in AuditEvent.objects.filter(verb="erased", target_kind="erasure").iterator():
        stated = json.loads(event.payload)
        people |= {stated["number"], *stated["merged"]}
        for into, key in ((rows, "erased_rows"), (copies, "erased_copies")):
            for name, numbers in stated.get(key, {}).items():
                into.setdefault(name, set()).update(numbers)
    return people, rows, copies
