"""What is still open of a person who moved, died or was lost, and devices that run on without an ulcer.

One rule for the page that settles it, for Today, for the manager's list and for whoever checks them.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from django.db.models import Exists, F, OuterRef, Q, QuerySet, Value

from clinic.models import (
    OPEN_STATES,
    AntibioticCourse,
    IncomingCall,
    ItemState,
    Lesion,
    LimbPlan,
    Look,
    NonHealingItem,
    Person,
    PersonState,
    Prescription,
    RedFlag,
    Referral,
    Result,
    Site,
    Transfer,
    TransferState,
    Visit,
    VisitState,
)

__all__ = [
    "KINDS",
    "LEFT_STATES",
    "LeftPerson",
    "OpenThing",
    "devices_without_ulcer",
    "ends_to_settle",
    "left_people",
    "open_counts",
    "open_things",
    "restricted_people",
]

#: No longer in care here; a merged record is empty.
LEFT_STATES = (PersonState.MOVED, PersonState.DIED, PersonState.LOST)


@dataclass(frozen=True)
class OpenKind:
    """One kind of open thing: which rows, the path to their person, their words and the page of one."""

    rows: QuerySet[Any]
    person: str
    one: str
    many: str
    route: str
    #: Ended by words on the page that settles; the others are answered on their own page.
    settled_here: bool = False


KINDS: Mapping[str, OpenKind] = {
    "device": OpenKind(
        Prescription.objects.filter(stopped_on=None).defer("facts", "advice", "forecast_shown", "content"),
        "limb__person",
        "device",
        "devices",
        "prescription",
        True,
    ),
    "lesion": OpenKind(
        Lesion.objects.filter(state__in=OPEN_STATES), "limb__person", "ulcer", "ulcers", "lesion", True
    ),
    "flag": OpenKind(
        RedFlag.objects.standing().filter(answer=""), "person", "red flag", "red flags", "flag_answer"
    ),
    "call": OpenKind(IncomingCall.objects.filter(done=""), "person", "call", "calls", "call_answer"),
    "visit": OpenKind(
        Visit.objects.filter(unfinished=True, state=VisitState.STANDS),
        "person",
        "visit to finish",
        "visits to finish",
        "visit_finish",
    ),
    "plan": OpenKind(
        LimbPlan.objects.filter(ended_on=None).exclude(plan__state="superseded"),
        "limb__person",
        "relief plan",
        "relief plans",
        "plan",
        True,
    ),
    "referral": OpenKind(Referral.objects.open(), "person", "referral", "referrals", "referral", True),
    "result": OpenKind(
        Result.objects.filter(seen_on=None, withdrawn_on=None), "person", "test", "tests", "result", True
    ),
    "course": OpenKind(
        AntibioticCourse.objects.filter(stopped_on=None),
        "lesion__limb__person",
        "antibiotic",
        "antibiotics",
        "antibiotic",
        True,
    ),
    "look": OpenKind(
        Look.objects.filter(read_at=None), "lesion__limb__person", "question", "questions", "lesion", True
    ),
    "item": OpenKind(
        NonHealingItem.objects.filter(state=ItemState.DUE),
        "review__lesion__limb__person",
        "review item",
        "review items",
        "non_healing_item",
        True,
    ),
    "transfer": OpenKind(
        Transfer.objects.filter(state=TransferState.ASKED), "person", "transfer", "transfers", "transfer"
    ),
}


@dataclass(frozen=True)
class OpenThing:
    """One open thing as the settling page names it; `row` has its limb or lesion read with it."""

    kind: str
    row: Any
    words: str

    @property
    def key(self) -> str:
        return f"{self.kind}_{self.row.pk}"

    @property
    def route(self) -> str:
        return KINDS[self.kind].route

    @property
    def argument(self) -> Any:
        """What the route takes: a plan goes by its code, a question by its ulcer."""
        if self.kind == "plan":
            return self.row.plan.code
        return self.row.lesion_id if self.kind == "look" else self.row.pk


@dataclass(frozen=True)
class LeftPerson:
    """A person with what is open, counted by kind; `sealed_by` is the earliest day a device inside it was to
    be opened by.
    """

    person: Person
    counts: Mapping[str, int] = field(default_factory=dict)
    sealed_by: date | None = None

    @property
    def words(self) -> str:
        return ", ".join(
            f"{n} {KINDS[kind].one if n == 1 else KINDS[kind].many}" for kind, n in self.counts.items()
        )


def without_ulcer() -> Q:
    """Devices whose foot had an ulcer and has no open one, and that nobody chose to have worn on since."""
    here = Lesion.objects.filter(limb=OuterRef("limb"))
    later = Q(confirmed_on__gt=OuterRef("kept_on")) | Q(ended_on__gt=OuterRef("kept_on"))
    return Q(
        Exists(here.exclude(state__in=OPEN_STATES)),
        ~Exists(here.filter(state__in=OPEN_STATES)),
        Q(kept_on=None) | Exists(here.filter(later)),
    )


def devices_without_ulcer(**of: Any) -> QuerySet[Prescription]:
    """Running devices of people in care on feet without an open ulcer: taken off, or worn on for a reason."""
    rows: QuerySet[Prescription] = KINDS["device"].rows.filter(
        without_ulcer(), limb__person__state=PersonState.IN_CARE, **of
    )
    return rows.select_related("limb__person").order_by("pk")


def _of_people(kind: OpenKind, where: Mapping[str, Any]) -> QuerySet[Any]:
    return kind.rows.filter(**{f"{kind.person}__{name}": value for name, value in where.items()})


def open_counts(**where: Any) -> dict[int, dict[str, int]]:
    """By person, how many things of each kind are open (one query); `where` says which people."""
    parts = [
        _of_people(kind, where)
        .order_by()
        .annotate(open_kind=Value(name), whose_open=F(kind.person))
        .values_list("whose_open", "open_kind")
        for name, kind in KINDS.items()
    ]
    found: dict[int, dict[str, int]] = defaultdict(lambda: dict.fromkeys(KINDS, 0))
    # The next Django would order the union by the first model.
    for whose, name in parts[0].union(*parts[1:], all=True).order_by():
        found[whose][name] += 1
    return {whose: {name: n for name, n in counts.items() if n} for whose, counts in found.items()}


def left_people(site: Site) -> list[LeftPerson]:
    """People of a site who left with something open (at most four queries), the sealed ones first."""
    where = {"site": site, "state__in": LEFT_STATES}
    if not Person.objects.filter(**where).exists():
        return []  # the kinds are counted by the dearest query of Today
    counts = open_counts(**where)
    if not counts:
        return []
    people = Person.objects.in_bulk(counts)
    sealed: dict[int, date] = {}
    rows = _of_people(KINDS["device"], where).filter(sealed_on__isnull=False, opened_on=None)
    for whose, open_by in rows.order_by("-open_by").values_list("limb__person", "open_by"):
        sealed[whose] = open_by
    for person in people.values():
        person.site = site
    found = [LeftPerson(people[pk], own, sealed.get(pk)) for pk, own in counts.items()]
    return sorted(
        found,
        key=lambda one: (one.sealed_by or date.max, one.person.family_name, one.person.pk),
    )


def restricted_people(sites: Sequence[Site]) -> list[LeftPerson]:
    """People whose record is restricted while a red flag or a sealed device is open (two queries): nobody can
    answer it until a manager lifts the restriction.
    """
    where = {"site__in": sites, "restricted_on__isnull": False}
    flags = _of_people(KINDS["flag"], where)
    sealed = _of_people(KINDS["device"], where).filter(sealed_on__isnull=False, opened_on=None)
    rows = Person.objects.filter(Q(pk__in=flags.values("person")) | Q(pk__in=sealed.values("limb__person")))
    counts = open_counts(**where)
    return [
        LeftPerson(person, counts.get(person.pk, {})) for person in rows.select_related("site").order_by("pk")
    ]


def ends_to_settle(sites: Sequence[Site]) -> int:
    """How many rows `left_open` would show for these sites (two queries)."""
    gone = open_counts(site__in=sites, state__in=LEFT_STATES)
    return len(gone) + devices_without_ulcer(limb__person__site__in=sites).count()


#: What of a row is read with it, for its words.
_BESIDE: Mapping[str, tuple[str, ...]] = {
    "device": ("limb__person__site",),
    "lesion": ("limb__person__site", "episode"),
    "plan": ("limb__person__site", "plan"),
    "look": ("lesion__limb__person__site",),
    "course": ("lesion__limb__person__site",),
    "item": ("review__lesion__limb__person__site", "owner"),
    "result": ("person__site", "owner"),
    "transfer": ("person__site", "to_site"),
}


def _words(kind: str, row: Any) -> str:
    if kind == "device":
        sealed = f", sealed, to be opened by {row.open_by:%-d %b %Y}" if row.stays_closed else ""
        return f"{row.get_device_class_display()} on the {row.limb.side} foot{sealed}"
    if kind == "plan":
        return (
            f"Relief plan {row.plan.code} of the {row.limb.side} foot, {row.plan.get_state_display().lower()}"
        )
    if kind == "flag":
        return f"Red flag of {row.raised_at:%-d %b %Y}"
    if kind == "call":
        return f"Call of {row.called_at:%-d %b %Y}: {row.get_about_display().lower()}"
    if kind == "visit":
        return f"Visit of {row.visited_on:%-d %b %Y}"
    if kind == "referral":
        return f"{row}, made {row.made_at:%-d %b %Y}"
    if kind == "result":
        when = f"of {row.result_on:%-d %b %Y}, not seen" if row.result_on else f"due {row.due_on:%-d %b %Y}"
        return f"{row.label}, {when}, owner {row.owner}"
    if kind == "look":
        return f"Question about ulcer {row.lesion.label}: “{row.question}”"
    if kind == "item":
        return f"{row.get_topic_display()}, ulcer {row.review.lesion.label}: {row.words}"
    if kind == "transfer":
        return f"Transfer to {row.to_site.name}"
    return str(row)


def open_things(person: Person) -> list[OpenThing]:
    """Everything open of one person who left; of one in care, the devices that run on without an ulcer."""
    if person.state == PersonState.IN_CARE:
        return [
            OpenThing("device", row, _words("device", row))
            for row in devices_without_ulcer(limb__person=person).select_related(*_BESIDE["device"])
        ]
    found = []
    for name, kind in KINDS.items():
        rows = kind.rows.filter(**{kind.person: person}).order_by("pk")
        if name in _BESIDE:
            rows = rows.select_related(*_BESIDE[name])
        found += [OpenThing(name, row, _words(name, row)) for row in rows]
    return found
