"""Which device class suits these facts? The rule table, asked.

Every condition of every row and caution is one set of allowed values per fact. So the table is compiled once
into bit masks: each value of each fact keeps the rows it does not contradict, and their intersection is the
set of rows that hold. Equal sets give equal answers, which are put together once and kept.
"""

from collections.abc import Callable, Iterator, Mapping
from functools import lru_cache
from operator import attrgetter
from typing import Any

from clinic.guidelines.advice import NOTICE, Advice, Offer, Referral, Withheld, advice_json, tightened
from clinic.guidelines.cautions import CAUTIONS
from clinic.guidelines.devices import DEVICES, NON_REMOVABLE, REFERRALS, URGENCIES, most_urgent
from clinic.guidelines.edition import MISSING, Row, Table, current, load
from clinic.guidelines.facts import FIRST_GROUP, OPTIONAL, Facts, check

__all__ = [
    "NOTICE",
    "Advice",
    "Offer",
    "Referral",
    "Withheld",
    "advice_json",
    "current",
    "decide",
    "load",
    "rows_that_hold",
    "tightened",
    "unasked",
]

CAUTION_BITS = (1 << len(CAUTIONS)) - 1
RECENT_SURGERY_WEEKS = 6  # design choice: a web space or wound younger than this counts as freshly operated


def _infection_readings() -> dict[tuple[int | None, bool | None], int | str]:
    """Infection with bone counted: infected bone is at least moderate."""
    readings: dict[tuple[int | None, bool | None], int | str] = {}
    for bone in (True, False, None):
        for grade in (1, 2, 3, 4):
            readings[grade, bone] = max(grade, 3) if bone else grade
        readings[None, bone] = "3_or_4" if bone else MISSING
    return readings


def _cell_readings(table: Table) -> dict[tuple[int | str, int | None], str]:
    """Matrix cell of each infection reading and ischaemia grade; where a grade is missing, what all agree on."""
    grades: dict[int | str, tuple[int, ...]] = {n: (n,) for n in (1, 2, 3, 4)}
    grades |= {"3_or_4": (3, 4), MISSING: (1, 2, 3, 4)}
    readings: dict[tuple[int | str, int | None], str] = {}
    for infection, possible in grades.items():
        for ischaemia in (0, 1, 2, 3, None):
            columns = (0, 1, 2, 3) if ischaemia is None else (ischaemia,)
            cells = {table.matrix[grade, column] for grade in possible for column in columns}
            if len(cells) == 1:
                readings[infection, ischaemia] = cells.pop()
            elif cells <= {"rm", "rm_derived", "treat_first"}:
                readings[infection, ischaemia] = "rm_or_treat_first"
            else:
                readings[infection, ischaemia] = "unknown"
    return readings


def _site_readings(table: Table) -> dict[tuple[str | None, str | None], tuple[str, bool]]:
    """Kind of site of each region and surface; where one is missing, what all sound pairs agree on."""
    readings: dict[tuple[str | None, str | None], tuple[str, bool]] = {
        pair: kind for pair, kind in table.sites.items()
    }
    regions = {region for region, _ in table.sites}
    surfaces = {surface for _, surface in table.sites}
    pairs: list[tuple[str | None, str | None]] = [(r, None) for r in regions]
    pairs += [(None, s) for s in surfaces]
    pairs.append((None, None))
    for region, surface in pairs:
        kinds = {
            kind
            for (r, s), (kind, doubt) in table.sites.items()
            if region in (r, None) and surface in (s, None) and not doubt
        }
        readings[region, surface] = (kinds.pop() if len(kinds) == 1 else "unknown", False)
    return readings


def _bits(mask: int) -> Iterator[int]:
    """Places of the set bits, lowest first."""
    while mask:
        lowest = mask & -mask
        yield lowest.bit_length() - 1
        mask ^= lowest


class _Decider:
    """One edition, compiled."""

    def __init__(self, table: Table) -> None:
        self.table = table
        conditions: list[Mapping[str, tuple]] = [row.when for row in table.rows]
        conditions += [caution.when for caution in CAUTIONS]
        conditions += [{name: (MISSING,)} for name in FIRST_GROUP]
        self.row_bits = (1 << len(table.rows)) - 1
        names = (*FIRST_GROUP, *OPTIONAL[: OPTIONAL.index("recent_surgery_weeks")])
        self.values: Callable[[Facts], tuple] = attrgetter(*names)
        domains = table.domains

        def masks(name: str) -> dict[Any, int]:
            free = sum(1 << i for i, when in enumerate(conditions) if name not in when)
            found: dict[Any, int] = {}
            for value in domains[name]:
                held = sum(
                    1 << i for i, when in enumerate(conditions) if name in when and value in when[name]
                )
                found[None if value == MISSING else value] = free | held
            return found

        self.plain = tuple(masks(name) for name in names)
        self.surgery = masks("recent_surgery")
        site, doubt = masks("site"), masks("site_doubt")
        self.site = {
            pair: site[kind] & doubt[in_doubt] for pair, (kind, in_doubt) in _site_readings(table).items()
        }
        infection, cell = masks("infection"), masks("cell")
        cells = _cell_readings(table)
        self.matrix = {
            (grade, bone, ischaemia): infection[None if reading == MISSING else reading]
            & cell[cells[reading, ischaemia]]
            for (grade, bone), reading in _infection_readings().items()
            for ischaemia in (0, 1, 2, 3, None)
        }
        self.answer = lru_cache(maxsize=1 << 15)(self._answer)

    def holding(self, facts: Facts) -> int:
        """Bit set of the rows, cautions and missing facts that hold."""
        try:
            mask = self.site[facts.region, facts.surface]
            mask &= self.matrix[facts.infection_grade, facts.osteomyelitis, facts.ischaemia_grade]
            weeks = facts.recent_surgery_weeks
            mask &= self.surgery[None if weeks is None else weeks < RECENT_SURGERY_WEEKS]
            for masks, value in zip(self.plain, self.values(facts), strict=True):
                mask &= masks[value]
        except (KeyError, TypeError):
            check(facts)
            raise
        return mask

    def rows(self, mask: int) -> list[Row]:
        """Rows of a bit set, in the order of the table."""
        return [self.table.rows[i] for i in _bits(mask & self.row_bits)]

    def _answer(self, mask: int) -> Advice:
        rows = self.rows(mask)
        rest = mask >> len(self.table.rows)
        cautions = [CAUTIONS[i] for i in _bits(rest & CAUTION_BITS)]
        missing = tuple(FIRST_GROUP[i] for i in _bits(rest >> len(CAUTIONS)))

        offered: dict[str, list[Row]] = {}
        withheld: dict[str, list[Row]] = {}
        demoted: dict[str, list[Row]] = {}
        shown: set[str] = set(NON_REMOVABLE)
        for row in rows:
            if row.kind == "offer":
                for name in row.classes:
                    offered.setdefault(name, []).append(row)
            elif row.kind == "demote":
                for name in row.classes:
                    demoted.setdefault(name, []).append(row)
            elif row.kind == "withhold":
                for name in row.classes:
                    withheld.setdefault(name, []).append(row)
                shown.update(row.always)
        adjuncts = [row for row in rows if row.kind == "adjunct"]

        classes: list[Offer] = []
        decided: list[Row] = []
        for name, speaking in offered.items():
            if name in withheld:
                continue
            beside = [row for row in adjuncts if name in row.classes]
            later = demoted.get(name, [])
            decided += speaking + beside + later
            classes.append(
                Offer(
                    id=name,
                    tier=max([min(row.tier for row in speaking), *(row.tier for row in later)]),
                    rules=_topics(speaking + beside),
                    cautions=tuple(
                        [r.said for r in (*later, *beside)] + [c.said for c in cautions if name in c.classes]
                    ),
                    because=tuple(row.said for row in speaking),
                    derived=tuple(row.said for row in speaking if row.derived),
                    rows=tuple(row.id for row in speaking),
                )
            )
        # Of one tier what was put later comes after the rest of it, and rest itself last.
        classes.sort(key=lambda offer: (offer.tier, offer.id in demoted, offer.last_resort))

        not_offered = []
        for name in DEVICES:
            if name in withheld and (name in offered or name in shown):
                why = withheld[name]
                decided += why
                not_offered.append(_withheld(name, why))

        referring = [row for row in rows if row.refer]
        refer, held_referrals = [], []
        for name in REFERRALS:
            speaking = [row for row in referring if name in row.refer]
            asking = [row for row in speaking if row.kind == "refer"]
            holding = [row for row in speaking if row.kind == "hold_referral"]
            if not asking:
                continue
            if holding:
                held_referrals.append(_withheld(name, holding))
                decided += holding
                continue
            decided += asking
            urgency = most_urgent(*(row.urgency for row in asking if row.urgency is not None))
            refer.append(
                Referral(name, urgency, tuple(row.said for row in asking), tuple(row.id for row in asking))
            )
        refer.sort(key=lambda referral: URGENCIES.index(referral.urgency))
        notes = [row for row in rows if row.kind == "note"]
        decided += notes
        changed = {row.id for row in decided}
        in_order = [row for row in rows if row.id in changed]
        return Advice(
            classes=tuple(classes),
            withheld=tuple(not_offered),
            refer=tuple(refer),
            held_referrals=tuple(held_referrals),
            contradictions=tuple(row.said for row in notes),
            rules=_topics(in_order),
            rows=tuple(row.id for row in in_order),
            missing=missing,
            edition=self.table.edition,
            notice=NOTICE,
        )


def _topics(rows: list[Row]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(row.topic for row in rows if row.topic is not None))


def _withheld(name: str, rows: list[Row]) -> Withheld:
    return Withheld(name, tuple(row.said for row in rows), tuple(row.id for row in rows))


_DECIDERS: dict[int, _Decider] = {}


def _decider(table: Table | None = None) -> _Decider:
    """The compiled form of an edition, made once.

    Parameters
    ----------
    table : Table, optional
        The edition in force if not given.

    Returns
    -------
    _Decider
    """
    table = current() if table is None else table
    found = _DECIDERS.get(id(table))  # a table holds dicts, so it has no hash; the decider keeps it alive
    if found is None:
        found = _DECIDERS[id(table)] = _Decider(table)
    return found


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
    offer it, unless a row puts it later; classes of one tier keep the order of the table. The urgency of a referral is the most pressing
    among its rows. Rules named are those of rows that changed the answer.

    References
    ----------
    .. [1] The edition's own citation, ``table.source``; each row carries its own.
    """
    compiled = _decider(table)
    return compiled.answer(compiled.holding(facts))


def rows_that_hold(facts: Facts, table: Table | None = None) -> tuple[Row, ...]:
    """Rows of an edition whose condition these facts meet, whether or not they changed the answer.

    Parameters
    ----------
    facts : Facts
    table : Table, optional

    Returns
    -------
    tuple of Row
    """
    compiled = _decider(table)
    return tuple(compiled.rows(compiled.holding(facts)))


def unasked(facts: Facts, table: Table | None = None) -> tuple[str, ...]:
    """Optional facts that nobody has asked for, though an answer could take a device that stays on away.

    The advice offers such a device without them, since they are asked for only where one is meant to be fitted; it is
    not closed before each is answered.

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
