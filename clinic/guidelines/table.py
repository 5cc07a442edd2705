"""Which device class suits these facts? The rule table, asked.

The facts are read once into what conditions speak of; a row or caution holds when each reading its condition
names is among the values it allows; the rows that hold make the answer.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from clinic.guidelines.advice import NOTICE, Advice, Offer, Referral, Withheld, advice_json, tightened
from clinic.guidelines.cautions import CAUTIONS, Caution
from clinic.guidelines.devices import DEVICES, NON_REMOVABLE, REFERRALS, URGENCIES, most_urgent
from clinic.guidelines.edition import MISSING, Row, Table, current, load
from clinic.guidelines.facts import ALL_FIELDS, FIRST_GROUP, OPTIONAL, Facts, check
from clinic.guidelines.rows import Value

__all__ = [
    "NOTICE",
    "Advice",
    "Holding",
    "Offer",
    "Referral",
    "Withheld",
    "advice_json",
    "current",
    "decide",
    "load",
    "tightened",
    "unasked",
    "what_holds",
]

RECENT_SURGERY_WEEKS = 6  # design choice: a web space or wound younger than this counts as freshly operated


@dataclass(frozen=True)
class Holding:
    """What holds for some facts, whether or not it changes the answer.

    Parameters
    ----------
    rows : tuple of Row
        In the order of the table.
    cautions : tuple of Caution
        For whatever class.
    missing : tuple of str
        Facts of the first group that are missing.
    """

    rows: tuple[Row, ...]
    cautions: tuple[Caution, ...]
    missing: tuple[str, ...]


def what_holds(facts: Facts, table: Table | None = None) -> Holding:
    """Rows and cautions whose condition these facts meet, and the facts that are missing.

    Parameters
    ----------
    facts : Facts
    table : Table, optional
        The edition to ask; the one in force if not given.

    Returns
    -------
    Holding

    Raises
    ------
    FactsError
        If a value is one no rule knows.
    """
    check(facts)
    table = current() if table is None else table
    read = _readings(facts, table)
    return Holding(
        rows=tuple(row for row in table.rows if _met(row.when, read)),
        cautions=tuple(caution for caution in CAUTIONS if _met(caution.when, read)),
        missing=tuple(name for name in FIRST_GROUP if read[name] == MISSING),
    )


def decide(facts: Facts, table: Table | None = None) -> Advice:
    """Rank the device classes for one lesion, with what was withheld, who must be asked and what is missing.

    Parameters
    ----------
    facts : Facts
        A missing fact is read as unknown, never as "no".
    table : Table, optional
        The edition to ask; the one in force if not given.

    Returns
    -------
    Advice

    Raises
    ------
    FactsError
        If a value is one no rule knows.

    Notes
    -----
    A class is offered if some row offers it and no row withholds it. Its tier is the best among the rows that
    offer it, unless a row puts it later; classes of one tier keep the order of the table. The urgency of a
    referral is the most pressing among its rows. Rules named are those of rows that changed the answer.

    References
    ----------
    .. [1] The edition's own citation, ``table.source``; each row carries its own.
    """
    table = current() if table is None else table
    holding = what_holds(facts, table)
    rows = holding.rows
    adjuncts = [row for row in rows if row.kind == "adjunct"]
    refusals = [row for row in rows if row.kind == "withhold"]
    notes = [row for row in rows if row.kind == "note"]
    against = _by_class(refusals)
    offers = _by_class(row for row in rows if row.kind == "offer")

    demotions = _by_class(row for row in rows if row.kind == "demote")

    classes = [
        _offer(
            name,
            speaking,
            [row for row in adjuncts if name in row.classes],
            demotions.get(name, []),
            holding.cautions,
        )
        for name, speaking in offers.items()
        if name not in against
    ]
    # Of one tier what was put later comes after the rest of it, and rest itself last.
    classes.sort(key=lambda offer: (offer.tier, offer.id in demotions, offer.last_resort))
    # What stays on is always accounted for, offered or not; other classes where a row offers or names them.
    considered = {*offers, *NON_REMOVABLE, *(name for row in refusals for name in row.always)}
    withheld = [_withheld(name, against[name]) for name in DEVICES if name in against and name in considered]
    refer, held = _referrals(rows)

    said: list[Offer | Withheld | Referral] = [*classes, *withheld, *refer, *held]
    decided = {row for part in said for row in part.rows}
    decided |= {row.id for row in adjuncts if any(offer.id in row.classes for offer in classes)}
    decided |= {row.id for offer in classes for row in demotions.get(offer.id, [])}
    decided |= {row.id for row in notes}
    in_order = [row for row in rows if row.id in decided]
    return Advice(
        classes=tuple(classes),
        withheld=tuple(withheld),
        refer=tuple(refer),
        held_referrals=tuple(held),
        contradictions=tuple(row.said for row in notes),
        rules=_topics(in_order),
        rows=tuple(row.id for row in in_order),
        missing=holding.missing,
        edition=table.edition,
        notice=NOTICE,
    )


def _met(when: Mapping[str, Sequence[Value]], read: Mapping[str, Value]) -> bool:
    return all(read[name] in allowed for name, allowed in when.items())


def _readings(facts: Facts, table: Table) -> dict[str, Value]:
    """Everything a condition can name: each fact as it stands or as missing, and what is read from
    several.
    """
    read: dict[str, Value] = {}
    for name in ALL_FIELDS:
        value = getattr(facts, name)
        read[name] = MISSING if value is None else value
    weeks = facts.recent_surgery_weeks
    read["recent_surgery"] = MISSING if weeks is None else weeks < RECENT_SURGERY_WEEKS
    read["site"], read["site_doubt"] = _site(facts, table)
    read["infection"] = _infection(facts)
    read["cell"] = _cell(facts, table)
    return read


def _site(facts: Facts, table: Table) -> tuple[str, bool]:
    """Kind of site and whether it is in doubt; where region or surface is missing, what all sound pairs
    agree on.
    """
    if facts.region is not None and facts.surface is not None:
        return table.sites[facts.region, facts.surface]
    kinds = {
        kind
        for (region, surface), (kind, doubt) in table.sites.items()
        if facts.region in (None, region) and facts.surface in (None, surface) and not doubt
    }
    return (kinds.pop() if len(kinds) == 1 else "unknown"), False


def _infection(facts: Facts) -> int | str:
    """Infection with bone counted: infected bone is at least moderate."""
    if facts.infection_grade is None:
        return "3_or_4" if facts.osteomyelitis else MISSING
    return max(facts.infection_grade, 3) if facts.osteomyelitis else facts.infection_grade


def _cell(facts: Facts, table: Table) -> str:
    """Matrix cell of infection and ischaemia; where a grade is missing, what all cells it may be agree on."""
    infection = _infection(facts)
    if isinstance(infection, int):
        grades: tuple[int, ...] = (infection,)
    else:
        grades = (3, 4) if infection == "3_or_4" else (1, 2, 3, 4)
    columns = (0, 1, 2, 3) if facts.ischaemia_grade is None else (facts.ischaemia_grade,)
    cells = {table.matrix[grade, column] for grade in grades for column in columns}
    if len(cells) == 1:
        return cells.pop()
    return "rm_or_treat_first" if cells <= {"rm", "rm_derived", "treat_first"} else "unknown"


def _by_class(rows: Iterable[Row]) -> dict[str, list[Row]]:
    """Rows by the device classes they name, in the order they name them."""
    found: dict[str, list[Row]] = {}
    for row in rows:
        for name in row.classes:
            found.setdefault(name, []).append(row)
    return found


def _offer(
    name: str,
    speaking: list[Row],
    beside: list[Row],
    later: list[Row],
    cautions: tuple[Caution, ...],
) -> Offer:
    return Offer(
        id=name,
        tier=max([min(row.tier for row in speaking), *(row.tier for row in later)]),
        rules=_topics(speaking + beside),
        cautions=tuple(
            [row.said for row in (*later, *beside)] + [c.said for c in cautions if name in c.classes]
        ),
        because=tuple(row.said for row in speaking),
        derived=tuple(row.said for row in speaking if row.derived),
        rows=tuple(row.id for row in speaking),
    )


def _withheld(name: str, rows: list[Row]) -> Withheld:
    return Withheld(name, tuple(row.said for row in rows), tuple(row.id for row in rows))


def _referrals(rows: tuple[Row, ...]) -> tuple[list[Referral], list[Withheld]]:
    """Who has to see the foot, most urgent first, and what would be asked for if nothing held it."""
    refer, held = [], []
    for name in REFERRALS:
        asking = [row for row in rows if row.kind == "refer" and name in row.refer]
        holding = [row for row in rows if row.kind == "hold_referral" and name in row.refer]
        if asking and holding:
            held.append(_withheld(name, holding))
        elif asking:
            urgency = most_urgent(*(row.urgency for row in asking if row.urgency is not None))
            refer.append(
                Referral(name, urgency, tuple(row.said for row in asking), tuple(row.id for row in asking))
            )
    refer.sort(key=lambda referral: URGENCIES.index(referral.urgency))
    return refer, held


def _topics(rows: list[Row]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(row.topic for row in rows if row.topic is not None))


def unasked(facts: Facts, table: Table | None = None) -> tuple[str, ...]:
    """Optional facts that nobody has asked for, though an answer could take a device that stays on away.

    The advice offers such a device without them, since they are asked for only where one is meant to be
    fitted; it is not closed before each is answered.

    Parameters
    ----------
    facts : Facts
    table : Table, optional

    Returns
    -------
    tuple of str
        In the order of :class:`Facts`; empty if a device that stays on may be closed as far as they go.
    """
    rows = (current() if table is None else table).rows
    reading = {
        name
        for row in rows
        if row.kind in ("withhold", "demote") and set(row.classes) & NON_REMOVABLE
        for name in row.reads
    }
    return tuple(name for name in OPTIONAL if name in reading and getattr(facts, name) is None)
