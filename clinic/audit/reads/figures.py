"""The audit's figures: each a key, its words, the kind of case and the condition on it. Counts and lists
read the same.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db.models import Count, QuerySet

from clinic.audit.reads.after import AFTER_BASES
from clinic.audit.reads.cases import BASES, OUTCOMES, WEEK12, AuditFilter, Base
from clinic.audit.reads.harm import HARM_BASES
from clinic.audit.reads.overridden import OVERRIDDEN_BASES
from clinic.evidence.reads.facts import WORDS
from clinic.guidelines.devices import DEVICES
from clinic.models import Agreement, Attendance, DepartureReason, StopReason

__all__ = ["ALL_BASES", "SMALL", "Figure", "Spec", "Tally", "class_words", "cumulative", "spec_of"]

#: Fewer cases than this make no percentage (common practice of published audits, no source for the number).
SMALL = 5
ALL_BASES: dict[str, Base] = {**BASES, **AFTER_BASES, **HARM_BASES, **OVERRIDDEN_BASES}
EARLY = (
    StopReason.NEW_LESION,
    StopReason.NOT_TOLERATED,
    StopReason.BROKEN,
    StopReason.INFECTION,
    StopReason.OTHER,
)
#: By which day after the first assessment -> words.
BY_DAYS = (2, 7, 14)
#: Days from first presentation to first expert assessment (National Diabetes Foot Care Audit; the band from
#: 14 days to two months from memory).
WAITS = (
    ("wait_2", "Up to 2 days", 0, 2),
    ("wait_13", "3 to 13 days", 3, 13),
    ("wait_60", "14 days to 2 months", 14, 60),
    ("wait_more", "More than 2 months", 61, 10**6),
)
#: Digits of the largest number of a row, so that no address asks the database for one beyond it.
LONGEST_NUMBER = 18
Where = tuple[tuple[str, Any], ...]


@dataclass(frozen=True)
class Spec:
    """What a figure counts. `where` holds plain lookups, which a row of the tally and a query both
    understand.
    """

    key: str
    words: str
    base: str
    where: Where = ()

    def holds(self, row: dict[str, Any]) -> bool:
        return all(_holds(row, lookup, value) for lookup, value in self.where)

    def rows(self, wanted: AuditFilter, today: date) -> QuerySet[Any]:
        """The cases behind the figure."""
        base = ALL_BASES[self.base]
        found = base.rows(wanted, today)
        for lookup, value in self.where:
            found = found.filter(**{lookup: value})
        return found


def _holds(row: dict[str, Any], lookup: str, value: Any) -> bool:
    name, _, how = lookup.partition("__")
    held = row[name]
    if how == "in":
        return held in value
    if how == "isnull":
        return (held is None) == value
    if how == "gte":
        return held is not None and held >= value
    if how == "lte":
        return held is not None and held <= value
    return bool(held == value)


@dataclass(frozen=True)
class Figure:
    """A count that can be opened: its key in the address, its words, and of how many."""

    key: str
    words: str
    count: int
    of: int | None = None

    @property
    def share(self) -> str:
        """The count among its cases, with a percentage only where there are enough of them."""
        if self.of is None:
            return f"{self.count:,}"
        if self.of == 0:
            return "no case yet"
        if self.of < SMALL:
            return f"{self.count} of {self.of}, too few for a percentage (n < {SMALL})"
        return f"{self.count:,} of {self.of:,} ({100 * self.count / self.of:.0f}\u00a0%)"

    @property
    def percent(self) -> float | None:
        return 100.0 * self.count / self.of if self.of is not None and self.of >= SMALL else None


@dataclass(frozen=True)
class Tally:
    """The rows of one base, counted by everything told apart in it: one query."""

    rows: tuple[dict[str, Any], ...]

    @classmethod
    def read(cls, base: str, wanted: AuditFilter, today: date) -> Tally:
        kind = ALL_BASES[base]
        rows = kind.rows(wanted, today).order_by().values(*kind.apart).annotate(n=Count("pk"))
        return cls(tuple(kind.derive(row) for row in rows))

    def count(self, spec: Spec) -> int:
        return sum(row["n"] for row in self.rows if spec.holds(row))

    def values(self, name: str) -> list[Any]:
        """Values of one column, the most frequent first."""
        counts: dict[Any, int] = {}
        for row in self.rows:
            counts[row[name]] = counts.get(row[name], 0) + row["n"]
        return sorted(counts, key=lambda value: (-counts[value], str(value)))


def class_words(device_class: str) -> str:
    """A device class in words; empty is a lesion that never had a device fitted."""
    return DEVICES[device_class].label if device_class else "No device fitted"


_PLAIN: tuple[Spec, ...] = (
    Spec("all", "Prescriptions", "prescription"),
    Spec(
        "agreed",
        "Agreed with the guidance",
        "prescription",
        (("agreement__in", (Agreement.FIRST, Agreement.LOWER_DATED, Agreement.LOWER_TICKED)),),
    ),
    Spec("departed", "Departed, with a reason", "prescription", (("agreement", "departed"),)),
    Spec(
        "departed.unreasoned",
        "Departed, without a reason",
        "prescription",
        (("agreement", "departed"), ("departure_reason", "")),
    ),
    Spec("overriding", "Non-removable against a known danger", "overridden"),
    *(
        Spec(f"overriding.{key}", words, "overridden", (("second", key),))
        for key, words in (
            ("signed", "Against a known danger: second signature confirmed"),
            ("telephone", "Against a known danger: by telephone, not confirmed"),
            ("missing", "Against a known danger: second signature missing"),
        )
    ),
    Spec("unjudged", "Cannot be judged: findings were missing", "prescription", (("agreement", "unjudged"),)),
    *(
        Spec(f"part.{part.value}", str(part.label), "prescription", (("agreement", part.value),))
        for part in Agreement
    ),
    Spec("lesions", "Ulcers prescribed for", "lesion"),
    Spec("arrived", "Ulcers that came under care", "arrival"),
    Spec("to_device.waiting", "Still waiting", "arrival", (("way", "waiting"),)),
    Spec("to_device.never", "Ended without a device", "arrival", (("way", "ended"),)),
    Spec("to_device.fitted", "Fitted", "arrival", (("way", "fitted"),)),
    *(
        Spec(
            f"to_device.by_{d}",
            f"Fitted by day {d}",
            "arrival",
            (("way", "fitted"), ("days__lte", d), ("due__gte", d)),
        )
        for d in BY_DAYS
    ),
    *(
        Spec(
            f"to_device.due_{d}",
            f"Known for {d} days or more",
            "arrival",
            (("way__in", ("fitted", "waiting")), ("due__gte", d)),
        )
        for d in BY_DAYS
    ),
    *(Spec(f"lesion12.{key}", words, "arrival", (("week12", key),)) for key, words in WEEK12.items()),
    Spec("episodes", "Episodes first assessed", "episode"),
    Spec("episode12.free", "Alive and ulcer-free at 12 weeks", "episode", (("week12", "free"),)),
    Spec("episode12.not_free", "Alive, not ulcer-free", "episode", (("week12", "not_free"),)),
    Spec("episode12.died", "Died by day 84", "episode", (("week12", "died"),)),
    Spec("episode12.unknown", "Unknown", "episode", (("week12", "unknown"),)),
    Spec("episode12.not_due", "Not yet due", "episode", (("week12", "not_due"),)),
    *(
        Spec(f"assessed.{key}", words, "episode", (("wait__gte", low), ("wait__lte", high)))
        for key, words, low, high in WAITS
    ),
    *(
        Spec(f"four_week.{key}", words, "lesion", (("four_week", key),))
        for key, words in (
            ("recorded", "Area at 4 weeks recorded"),
            ("missing", "No area at 4 weeks"),
            ("not_due", "Not due"),
        )
    ),
    *(
        Spec(f"review.{key}", words, "prescription", (("review", key),))
        for key, words in (
            ("in_time", "Seen within 7 days of fitting"),
            ("late", "Not seen within 7 days"),
            ("not_due", "Not due yet"),
            ("not_fitted", "Not fitted"),
        )
    ),
    *(
        Spec(f"visits.{kind.value}", str(kind.label), "visit", (("attendance", kind.value),))
        for kind in Attendance
    ),
    Spec("visits.all", "Visits booked or made", "visit"),
    Spec("devices", "Devices that were on", "worn"),
    Spec("harm.early", "Taken off early", "worn", (("early__in", tuple(r.value for r in EARLY)),)),
    *(
        Spec(
            f"harm.{why.value}",
            f"Taken off: {str(why.label)[0].lower()}{str(why.label)[1:]}",
            "worn",
            (("early", why.value),),
        )
        for why in EARLY
    ),
    Spec("harm.late", "Non-removable device opened late, or past its day", "worn", (("late", "late"),)),
    Spec("harm.fall", "Visits telling of a fall", "troubled", (("fall", True),)),
    Spec(
        "harm.other_foot", "Visits with a problem on the other foot", "troubled", (("other_foot", "problem"),)
    ),
    Spec(
        "harm.skin",
        "Visits with a skin problem under the device",
        "troubled",
        (("skin_under_device", "problem"),),
    ),
    Spec("gap.bare", "Ulcers open for a day or more without a device", "gap", (("bare", "bare"),)),
    Spec("gap.all", "Ulcers open in the period", "gap"),
    Spec("healed", "Confirmed healed", "healed"),
    *(
        Spec(f"after.{key}", words, "healed", (("after", key),))
        for key, words in (("recurred", "A new ulcer since"), ("died", "Died first"), ("free", "None so far"))
    ),
)
SPECS: dict[str, Spec] = {spec.key: spec for spec in _PLAIN}


def _reason(key: str, reason: str) -> Spec | None:
    if reason not in DepartureReason.values:
        return None
    words = str(DepartureReason(reason).label)
    if key == "reason":
        where: Where = (("departure_reason", reason), ("agreement", "departed"))
        return Spec(f"reason.{reason}", f"Departed: {words}", "prescription", where)
    where = (("departure_reason", reason), ("agreement", "unjudged"))
    return Spec(f"reason_unjudged.{reason}", f"Not judged, reason given: {words}", "prescription", where)


def _own_reason(row: str) -> Spec | None:
    """One of a clinic's own reasons, by the number of its row; its words stand beside it on the page."""
    if not row.isdecimal() or len(row) > LONGEST_NUMBER:
        return None
    where: Where = (("departure_own", int(row)), ("agreement", "departed"))
    return Spec(f"reason_own.{row}", "Departed: a reason of the clinic's own", "prescription", where)


def _outcome(name: str, outcome: str) -> Spec | None:
    if name not in ("every", "none", *DEVICES) or outcome not in ("all", *OUTCOMES):
        return None
    where: list[tuple[str, Any]] = []
    device = "any first device"
    if name != "every":
        device_class = "" if name == "none" else name
        words = class_words(device_class)
        device = f"first device: {words[0].lower()}{words[1:]}"
        where.append(("first_class", device_class))
    if outcome != "all":
        where.append(("now", outcome))
    label = OUTCOMES.get(outcome, "Ulcers")
    return Spec(f"outcome.{name}.{outcome}", f"{label}, {device}", "lesion", tuple(where))


def cumulative(day: int) -> tuple[Spec, Spec]:
    """Fitted by a day, and all who have been known for so long."""
    return SPECS[f"to_device.by_{day}"], SPECS[f"to_device.due_{day}"]


def spec_of(key: str) -> Spec | None:
    """The figure of a key, None where there is no such figure."""
    if key in SPECS:
        return SPECS[key]
    family, _, rest = key.partition(".")
    if family in ("reason", "reason_unjudged"):
        return _reason(family, rest)
    if family == "reason_own":
        return _own_reason(rest)
    if family == "outcome":
        return _outcome(*rest.split(".", 1)) if "." in rest else None
    if family == "missing" and rest in WORDS:
        return Spec(
            key,
            f"Missing at signing: {WORDS[rest].lower()}",
            "unjudged",
            (("missing__contains", f'"{rest}"'),),
        )
    if family == "reused" and rest.isalnum():
        return Spec(key, "The same sentence, word for word", "departed", (("mark", rest),))
    return None


def figures(tallies: dict[str, Tally], keys: Iterable[str], of: int | None = None) -> tuple[Figure, ...]:
    """Figures of some keys, all of the same whole."""
    found = []
    for key in keys:
        spec = spec_of(key)
        if spec is None:
            raise KeyError(key)
        found.append(Figure(key, spec.words, tallies[spec.base].count(spec), of))
    return tuple(found)
