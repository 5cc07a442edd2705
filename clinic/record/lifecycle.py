"""The one door of the writes to the charts of `clinic.lifecycle`, and the state of a person's record.

Each room says in its `states.py` which state a row of its own nouns is in; a write then asks whether the
state allows what it is about to do.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from clinic.lifecycle.chart import Allows
from clinic.lifecycle.charts import CHARTS
from clinic.lifecycle.person import person_state_of
from clinic.record.errors import Conflict, Refused

__all__ = ["allowed", "all_missing", "may_happen", "person_allowed", "person_state"]


def allowed(noun: str, state: str, event: str, *, field: str | None = None, **names: object) -> Allows:
    """The cell that lets the event happen; refused with the cell's sentence, `names` filled in."""
    answer = CHARTS[noun].answer(state, event)
    if isinstance(answer, Allows):
        return answer
    raise Refused(answer.words.format(**names), field=field)


def may_happen(noun: str, state: str, event: str) -> bool:
    """Whether a page offers the event."""
    return event in CHARTS[noun].offers(state)


def person_state(person: Any) -> str:
    """The state of a person's record; here and not in their room, since every stored row asks it."""
    return person_state_of(person.state, restricted=person.restricted_on is not None)


def person_allowed(person: Any, event: str) -> Allows:
    """The same for a person, whose refusals name the record."""
    into = person.merged_into.record_number if person.merged_into_id else ""
    since = f"{person.restricted_on:%-d %b %Y}" if person.restricted_on else ""
    return allowed("person", person_state(person), event, name=person.full_name, number=into, since=since)


def all_missing(*checks: Callable[[], object]) -> None:
    """Ask every check; what they refuse is said together, each part at its field and with its way."""
    found: list[Refused] = []
    for check in checks:
        try:
            check()
        except Conflict:
            raise
        except Refused as refused:
            found += refused.parts
    once = list({one.message: one for one in found}.values())
    if len(once) == 1:
        raise once[0]
    if once:
        raise Refused(" ".join(one.message for one in once), parts=once)
