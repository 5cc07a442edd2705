"""Everything the program says out loud, in one table: how loud, in which words, from where, because of what.

Three levels. *Stop* halts the work until somebody answers it. *Ask* wants an answer but lets the work go on.
*Note* only tells. A page emits a stop or an ask from this table only; a level shown twice a day to one person
for one cause is a defect, so each message names its cause and a list shows a cause once.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from clinic.guidelines.errors import GuidelineError
from clinic.record.message_rows import ROWS

__all__ = ["MESSAGES", "Level", "Message", "Filled", "message_table", "message_of"]

Level = Literal["stop", "ask", "note"]
LEVELS: tuple[Level, ...] = ("stop", "ask", "note")


@dataclass(frozen=True)
class Message:
    """One message.

    Parameters
    ----------
    id : str
    level : {"stop", "ask", "note"}
    words : str
        What is message_of; names in braces are filled in.
    cause : str
        What brings it up; two messages of one cause never stand on one list for one person.
    source : str
        Publication, or that it is common practice or a design choice.
    """

    id: str
    level: Level
    words: str
    cause: str
    source: str


@dataclass(frozen=True)
class Filled:
    """A message with its words filled in."""

    id: str
    level: Level
    text: str
    cause: str


def _table(rows: Iterable[tuple[str, str, str, str, str]]) -> dict[str, Message]:
    table: dict[str, Message] = {}
    for id_, level, words, cause, source in rows:
        if level not in LEVELS:
            raise GuidelineError(f"message {id_}: level {level!r} given, must be stop, ask or note")
        if id_ in table:
            raise GuidelineError(f"message {id_}: given twice, each id stands once")
        if not (words and cause and source):
            raise GuidelineError(f"message {id_}: words, cause and source are all needed")
        table[id_] = Message(id_, level, words, cause, source)  # type: ignore[arg-type]
    return table


MESSAGES: dict[str, Message] = _table(ROWS)


def message_of(id_: str, **values: object) -> Filled:
    """A message of the table with its values.

    Parameters
    ----------
    id_ : str
    **values : object
        What the braces of its words name.

    Returns
    -------
    Filled

    Raises
    ------
    GuidelineError
        No such message, or a value its words need is missing.
    """
    message = MESSAGES.get(id_)
    if message is None:
        raise GuidelineError(f"message: {id_!r} is not in the table")
    try:
        text = message.words.format(**values)
    except KeyError as missing:
        raise GuidelineError(f"message {id_}: value {missing} is needed for its words") from None
    return Filled(id_, message.level, text, message.cause)


def message_table() -> str:
    """The whole table as text, one message a line: level, id, words, cause, source."""
    rows = sorted(MESSAGES.values(), key=lambda m: (LEVELS.index(m.level), m.id))
    widths = [max(len(getattr(row, name)) for row in rows) for name in ("level", "id")]
    return "\n".join(
        f"{row.level:<{widths[0]}}  {row.id:<{widths[1]}}  {row.words} [{row.cause}] {row.source}"
        for row in rows
    )
