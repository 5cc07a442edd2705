"""The table as rows."""

from __future__ import annotations

import csv
from collections import Counter
from pathlib import Path

__all__ = ["counts", "rows"]

FILE = Path(__file__).with_name("levels_1_and_2.csv")


def rows() -> list[dict[str, str]]:
    with FILE.open(newline="", encoding="utf-8") as read:
        return list(csv.DictReader(read))


def counts() -> dict[str, int]:
    """How many requirements stand how, by level and together."""
    told: Counter[str] = Counter()
    for row in rows():
        told[f"level {row['level']} {row['status']}"] += 1
        told[row["status"]] += 1
    return dict(sorted(told.items()))
