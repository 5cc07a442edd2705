"""Whether one touch may say that wound bed, edge and dressing of an ulcer are unchanged, and since when."""

from __future__ import annotations

from datetime import date

from clinic.models import Measurement

__all__ = ["DESCRIBED", "MOST_RUNNING", "unchanged_from"]

#: What one touch may take over. Everything else is looked at and answered anew at every visit.
DESCRIBED = ("tissue", "edge", "dressing")
#: After this many visits in a row they are described again (design choice).
MOST_RUNNING = 2


def unchanged_from(last: Measurement | None, running: int) -> date | None:
    """The day they were last described; None where they were not, or were told unchanged too often in a row.

    `running` is how many of the latest visits said "unchanged"; the row brings its visit.
    """
    if last is None or running >= MOST_RUNNING or not any(getattr(last, name) for name in DESCRIBED):
        return None
    return last.unchanged_since or last.visit.visited_on
