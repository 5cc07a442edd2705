"""What a month counted, and what the program's lists show as rows to count."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field

from clinic.week.reads.today import TodayLists


@dataclass
class Figures:
    """What was counted over the month."""

    moments: int = 0
    rows: Counter[str] = field(default_factory=Counter)
    entered: Counter[str] = field(default_factory=Counter)
    happened: Counter[str] = field(default_factory=Counter)
    missing: list[str] = field(default_factory=list)
    wrong: list[str] = field(default_factory=list)
    twice: list[str] = field(default_factory=list)

    def table(self) -> str:
        lines = [
            f"{self.moments} moments compared: {len(self.missing)} rows missing, {len(self.wrong)} "
            "wrong, "
            f"{len(self.twice)} said twice"
        ]
        lines += [
            f"  {name:<10} {self.rows[name]:>6} rows, {self.entered[name]:>4} came onto it"
            for name in self.rows
        ]
        lines.append("  happened: " + ", ".join(f"{n} {what}" for what, n in sorted(self.happened.items())))
        return "\n".join(lines)


CONTACT_NAMES = {"escalate_contact": "escalate", "try_again": "try_again", "try_to_reach": "try"}


def shown_rows(lists: TodayLists) -> Iterator[tuple[str, int]]:
    """List and person of every row the program shows."""
    morning = lists.morning
    for name, part in (
        ("sealed", morning.sealed),
        ("flag", morning.flags),
        ("referral", morning.referrals),
        ("no_date", morning.no_date),
        ("look", morning.looks),
        ("overdue", lists.overdue),
        ("due", lists.due),
        ("coming", lists.coming),
        ("remission", lists.remission),
    ):
        yield from ((name, row.person.pk) for row in part)
    yield from ((CONTACT_NAMES[row.asks[0].message.id], row.person.pk) for row in morning.contacts)


def said_twice(lists: TodayLists) -> Iterator[str]:
    """Stops and asks that stand twice for one thing of one person."""
    rows = (*lists.morning.rows, *lists.overdue, *lists.due, *lists.coming, *lists.remission)
    loud = Counter(
        (row.person.pk, ask.message.cause, ask.url_name, ask.pk)
        for row in rows
        for ask in row.asks
        if ask.kind != "note"
    )
    yield from (str(key) for key, n in loud.items() if n > 1)
