"""What an edition of the rules is made of: recommendations, rows, and the values their conditions may
name.
"""

import datetime
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from clinic.guidelines.devices import Urgency
from clinic.guidelines.facts import CHOICES, FIRST_GROUP, GRADES, OPTIONAL

__all__ = [
    "CELLS",
    "CONTENTS",
    "DOMAINS",
    "KINDS",
    "MATRIX_CELLS",
    "MISSING",
    "NOT_APPLIED",
    "PRACTICE",
    "READ_FROM",
    "Caution",
    "Recommendation",
    "Row",
    "Table",
    "Value",
    "marked",
]

PRACTICE = "common practice, no source"

Kind = Literal["offer", "adjunct", "demote", "withhold", "refer", "hold_referral", "note"]
Value = str | int | bool
MISSING = "missing"

CELLS = ("nr_first", "nr_mild", "rm", "rm_derived", "treat_first", "rm_or_treat_first", "unknown")
MATRIX_CELLS = CELLS[:5]
NOT_APPLIED = "memory_low"
KINDS = ("offer", "adjunct", "demote", "withhold", "refer", "hold_referral", "note")
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


def marked(sentence: str, source: str) -> str:
    """A sentence, marked if it is common practice without a source.

    Parameters
    ----------
    sentence : str
        Ends with a full stop.
    source : str

    Returns
    -------
    str

    Examples
    --------
    >>> marked("No spacer into a wet web space.", PRACTICE)
    'No spacer into a wet web space (common practice).'
    """
    return f"{sentence.rstrip('.')} (common practice)." if source == PRACTICE else sentence


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
    kind : {"offer", "adjunct", "demote", "withhold", "refer", "hold_referral", "note"}
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
    def said(self) -> str:
        """The reason as an answer gives it, marked where it is common practice without a source."""
        return marked(self.because, self.source)

    @property
    def reads(self) -> frozenset[str]:
        """Facts this row looks at, through readings too."""
        return frozenset(f for name in self.when for f in READ_FROM.get(name, (name,)))


@dataclass(frozen=True)
class Caution:
    """One thing to watch with some device classes, shown when its condition holds.

    Parameters
    ----------
    id : str
    classes : tuple of str
        Device classes it belongs to.
    text : str
    source : str
    when : mapping of str to tuple
        Condition in the form of the rule table; empty = always.
    """

    id: str
    classes: tuple[str, ...]
    text: str
    source: str
    when: Mapping[str, tuple] = field(default_factory=dict)

    @property
    def said(self) -> str:
        """The text as an answer gives it, marked where it is common practice without a source."""
        return marked(self.text, self.source)


@dataclass(frozen=True)
class Table:
    """One edition of the rules, checked.

    Parameters
    ----------
    id : str
        Name of the edition, whatever the revision of its rows.
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

    id: str
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
