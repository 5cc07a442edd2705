"""One edition of the rule table: read from its file, checked before anything is decided by it."""

import datetime
import itertools
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any, Literal

from clinic.guidelines.cautions import CAUTIONS
from clinic.guidelines.devices import DEVICES, REFERRALS, URGENCIES, Urgency
from clinic.guidelines.errors import TableError
from clinic.guidelines.facts import CHOICES, FIRST_GROUP, GRADES, OPTIONAL

__all__ = [
    "CELLS",
    "DOMAINS",
    "READ_FROM",
    "Recommendation",
    "Row",
    "Table",
    "current",
    "load",
    "table_from",
]

Kind = Literal["offer", "adjunct", "withhold", "refer", "hold_referral", "note"]
Value = str | int | bool
MISSING = "missing"

CELLS = ("nr_first", "nr_mild", "rm", "rm_derived", "treat_first", "rm_or_treat_first", "unknown")
MATRIX_CELLS = CELLS[:5]
NOT_APPLIED = "memory_low"
KINDS = ("offer", "adjunct", "withhold", "refer", "hold_referral", "note")
CONTENTS = ("verified", "secondary", "memory", NOT_APPLIED)

#: Which facts each reading is made from.
READ_FROM: dict[str, tuple[str, ...]] = {
    "site": ("region", "surface"),
    "site_doubt": ("region", "surface"),
    "infection": ("infection_grade", "osteomyelitis"),
    "cell": ("infection_grade", "osteomyelitis", "ischaemia_grade"),
    "recent_surgery": ("recent_surgery_weeks",),
}


def _domains() -> dict[str, tuple[Value, ...]]:
    domains: dict[str, tuple[Value, ...]] = {}
    for name in (*FIRST_GROUP, *OPTIONAL):
        if name in CHOICES:
            domains[name] = (*CHOICES[name], MISSING)
        elif name in GRADES:
            low, high = GRADES[name]
            domains[name] = (*range(low, high + 1), MISSING)
        elif name != "recent_surgery_weeks":
            domains[name] = (False, True, MISSING)
    domains["site_doubt"] = (False, True)
    domains["infection"] = (1, 2, 3, 4, "3_or_4", MISSING)
    domains["cell"] = CELLS
    domains["recent_surgery"] = (False, True, MISSING)
    return domains


#: Every value a condition may name, by fact or reading; ``site`` comes from the table itself.
DOMAINS: dict[str, tuple[Value, ...]] = _domains()


@dataclass(frozen=True)
class Recommendation:
    """A published recommendation behind a topic key.

    Parameters
    ----------
    topic : str
        Stable key; numbers change between editions.
    number, strength, certainty : str
        As published, in lower case.
    label_verified : bool
        Whether strength and certainty were checked against a printed source.
    content : {"verified", "secondary", "memory", "memory_low"}
        How far the substance was checked; ``memory_low`` is listed but applied by no row.
    says : str
        In our own words.
    source : str
        Full citation.
    """

    topic: str
    number: str
    strength: str
    certainty: str
    label_verified: bool
    content: str
    says: str
    source: str


@dataclass(frozen=True)
class Row:
    """One row of the table: when its condition holds, it says its piece.

    Parameters
    ----------
    id : str
    kind : {"offer", "adjunct", "withhold", "refer", "hold_referral", "note"}
    when : mapping of str to tuple
        Allowed values per fact or reading; all must hold.
    because : str
        In our own words.
    source : str
        Full citation.
    topic : str or None
        The recommendation it applies.
    classes, always : tuple of str
        Device classes; those in ``always`` are named as withheld even where nothing offers them.
    refer : tuple of str
        Referrals.
    urgency : str or None
    tier : int
        Place in the published sequence; 0 where it does not apply. [-]
    derived : bool
        Not spelled out in the source, follows from it.
    line : str or None
        Rows of one line exclude each other.
    """

    id: str
    kind: Kind
    when: Mapping[str, tuple[Value, ...]]
    because: str
    source: str
    topic: str | None = None
    classes: tuple[str, ...] = ()
    always: tuple[str, ...] = ()
    refer: tuple[str, ...] = ()
    urgency: Urgency | None = None
    tier: int = 0
    derived: bool = False
    line: str | None = None

    @property
    def reads(self) -> frozenset[str]:
        """Facts this row looks at, through readings too."""
        return frozenset(f for name in self.when for f in READ_FROM.get(name, (name,)))


@dataclass(frozen=True)
class Table:
    """One edition of the rules, checked.

    Parameters
    ----------
    edition : str
        What an answer is stamped with.
    year, revision : int
    transcribed : datetime.date
        Day this revision of the rows was written down.
    source : str
    matrix : mapping of (int, int) to str
        Infection grade and ischaemia grade to cell.
    sites : mapping of (str, str) to (str, bool)
        Region and surface to kind of site, and whether the pair is in doubt.
    recommendations : mapping of str to Recommendation
    rows : tuple of Row
    """

    edition: str
    year: int
    revision: int
    transcribed: datetime.date
    source: str
    matrix: Mapping[tuple[int, int], str]
    sites: Mapping[tuple[str, str], tuple[str, bool]]
    recommendations: Mapping[str, Recommendation]
    rows: tuple[Row, ...]

    @property
    def domains(self) -> dict[str, tuple[Value, ...]]:
        """Every value a condition may name, by fact or reading."""
        kinds = tuple(dict.fromkeys(kind for kind, _ in self.sites.values()))
        return {**DOMAINS, "site": (*kinds, "unknown")}


def _row(raw: Mapping[str, Any], sources: Mapping[str, str]) -> Row:
    refer = raw.get("refer", ())
    return Row(
        id=raw["id"],
        kind=raw["kind"],
        when={name: tuple(values) for name, values in raw["when"].items()},
        because=raw["because"],
        source=sources.get(raw["source"], ""),
        topic=raw.get("topic"),
        classes=tuple(raw.get("classes", ())),
        always=tuple(raw.get("always", ())),
        refer=(refer,) if isinstance(refer, str) else tuple(refer),
        urgency=raw.get("urgency"),
        tier=raw.get("tier", 0),
        derived=raw.get("derived", False),
        line=raw.get("line"),
    )


ROW_KEYS = {
    "id", "kind", "when", "because", "source", "topic", "classes", "always", "refer", "urgency", "tier", "derived", "line",
}  # fmt: skip


def table_from(raw: Mapping[str, Any]) -> Table:
    """Build and check a table from its parsed file.

    Parameters
    ----------
    raw : mapping
        As ``tomllib`` gives it.

    Returns
    -------
    Table

    Raises
    ------
    TableError
        If a key is absent or unknown, an id, class, referral, topic, source or value is not known, rows of one line
        overlap, the matrix or the site list has a gap, or a site is left without any offer.
    """
    try:
        edition, sources = raw["edition"], raw["sources"]
        unknown_keys = [
            f"row {r.get('id', '?')} has the unknown key {key}"
            for r in raw["row"]
            for key in r
            if key not in ROW_KEYS
        ]
        recommendations = {
            r["topic"]: Recommendation(**{**r, "source": sources.get(r["source"], "")})
            for r in raw["recommendation"]
        }
        table = Table(
            edition=f"{edition['id']}, table revision {edition['revision']} of {edition['transcribed'].isoformat()}",
            year=edition["year"],
            revision=edition["revision"],
            transcribed=edition["transcribed"],
            source=sources.get(edition["source"], ""),
            matrix={
                (int(grade), ischaemia): cell
                for grade, cells in raw["matrix"].items()
                if grade != "source"
                for ischaemia, cell in enumerate(cells)
            },
            sites={
                (region, surface): (site["kind"], site.get("doubt", False))
                for site in raw["site"]
                for region in site["regions"]
                for surface in site["surfaces"]
            },
            recommendations=recommendations,
            rows=tuple(_row(r, sources) for r in raw["row"]),
        )
    except (KeyError, TypeError, AttributeError, ValueError) as error:
        raise TableError((f"the rule table lacks or mistypes {error}",)) from error
    faults = (*unknown_keys, *_faults(table))
    if faults:
        raise TableError(faults)
    return table


def _faults(table: Table) -> tuple[str, ...]:
    faults: list[str] = []
    domains = table.domains
    faults += [
        f"recommendation {r.topic} has no known source"
        for r in table.recommendations.values()
        if not r.source
    ]
    faults += [
        f"recommendation {r.topic} has content {r.content}, must be one of {', '.join(CONTENTS)}"
        for r in table.recommendations.values()
        if r.content not in CONTENTS
    ]
    for grade, ischaemia in itertools.product(range(1, 5), range(4)):
        if table.matrix.get((grade, ischaemia)) not in MATRIX_CELLS:
            faults.append(f"matrix cell {grade} x {ischaemia} must be one of {', '.join(MATRIX_CELLS)}")
    for region, surface in itertools.product(CHOICES["region"], CHOICES["surface"]):
        if (region, surface) not in table.sites:
            faults.append(f"site {region}, {surface} has no kind")
    seen: set[str] = set()
    for row in table.rows:
        if row.id in seen:
            faults.append(f"row {row.id} stands twice")
        seen.add(row.id)
        faults += _row_faults(row, table, domains)
    for one, other in itertools.combinations([r for r in table.rows if r.line], 2):
        if one.line == other.line and not _disjoint(one, other):
            faults.append(f"rows {one.id} and {other.id} of line {one.line} can both hold")
    for caution in CAUTIONS:
        faults += [f"caution {caution.id}: {fault}" for fault in _condition_faults(caution.when, domains)]
    if not faults:
        faults += _uncovered(table)
    return tuple(faults)


def _condition_faults(when: Mapping[str, tuple[Value, ...]], domains: Mapping[str, tuple]) -> list[str]:
    faults = []
    for name, values in when.items():
        if name not in domains:
            faults.append(f"condition names {name}, which is no fact or reading")
            continue
        known = {(type(v), v) for v in domains[name]}
        faults += [
            f"condition {name} names {v!r}, not among its values" for v in values if (type(v), v) not in known
        ]
        if not values:
            faults.append(f"condition {name} names no value, so it can never hold")
    return faults


def _row_faults(row: Row, table: Table, domains: Mapping[str, tuple]) -> list[str]:
    faults = [f"row {row.id}: {fault}" for fault in _condition_faults(row.when, domains)]
    if row.kind not in KINDS:
        faults.append(f"row {row.id} is of kind {row.kind}, must be one of {', '.join(KINDS)}")
    if not row.source:
        faults.append(f"row {row.id} has no known source")
    if not row.because.strip():
        faults.append(f"row {row.id} gives no reason")
    for name in (*row.classes, *row.always):
        if name not in DEVICES:
            faults.append(f"row {row.id} names {name}, which is no device class")
    for name in row.refer:
        if name not in REFERRALS:
            faults.append(f"row {row.id} names {name}, which is no referral")
    if row.topic is not None and row.topic not in table.recommendations:
        faults.append(f"row {row.id} names topic {row.topic}, which has no recommendation")
    elif row.topic is not None and table.recommendations[row.topic].content == NOT_APPLIED:
        faults.append(f"row {row.id} applies {row.topic}, whose substance was not confirmed")
    if row.kind in ("offer", "adjunct", "withhold") and not row.classes:
        faults.append(f"row {row.id} names no device class")
    if row.kind in ("offer", "adjunct") and row.topic is None:
        faults.append(f"row {row.id} offers without a topic")
    if row.kind == "offer" and row.tier not in (1, 2, 3):
        faults.append(f"row {row.id} has tier {row.tier}, must be 1, 2 or 3")
    if row.kind in ("refer", "hold_referral") and not row.refer:
        faults.append(f"row {row.id} names no referral")
    if row.kind == "refer" and row.urgency not in URGENCIES:
        faults.append(f"row {row.id} has urgency {row.urgency}, must be one of {', '.join(URGENCIES)}")
    return faults


def _disjoint(one: Row, other: Row) -> bool:
    return any(not set(one.when[name]) & set(other.when[name]) for name in one.when if name in other.when)


def _uncovered(table: Table) -> list[str]:
    """Sites for which, at some cause and cell, no row offers a thing while a device can be had."""
    faults = []
    offers = [r for r in table.rows if r.kind == "offer" and set(r.when) <= {"site", "cause", "cell"}]
    kinds = [kind for kind in table.domains["site"] if kind != "unknown"]
    for site, cause, cell in itertools.product(kinds, DOMAINS["cause"], CELLS):
        at = {"site": site, "cause": cause, "cell": cell}
        if not any(all(at[name] in values for name, values in row.when.items()) for row in offers):
            faults.append(f"site {site} with cause {cause} in cell {cell} has no offer")
    return faults


def load(path: Path) -> Table:
    """Read one edition from its file.

    Parameters
    ----------
    path : pathlib.Path
        A file in the form of ``rules.toml``.

    Returns
    -------
    Table

    Raises
    ------
    TableError
        If the file is not such a table; see :func:`table_from`.
    """
    try:
        raw = tomllib.loads(path.read_text(encoding="utf-8"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError, OSError) as error:
        raise TableError((f"the rule table {path.name} cannot be read: {error}",)) from error
    return table_from(raw)


@cache
def current() -> Table:
    """The edition in force, read once.

    Returns
    -------
    Table
    """
    return load(Path(__file__).with_name("rules.toml"))
