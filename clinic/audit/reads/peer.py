"""Peer reading as its pages show it: what is left to read, and how far two readers agree."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import Any

from django.db.models import Count

from clinic.guidelines.devices import DEVICES
from clinic.healing.kappa import Kappa, cohen_kappa
from clinic.models import PeerCase, PeerOpinion, PeerRound, Prescription, Site, User
from clinic.people.reads.peer_waiting import cases_short, open_to

__all__ = [
    "PeerResult",
    "RoundRow",
    "ShownCase",
    "next_case",
    "open_count",
    "peer_result",
    "round_rows",
    "shown_case",
]


@dataclass(frozen=True)
class RoundRow:
    round: PeerRound
    cases: int
    read_twice: int
    left_for_you: int
    #: Choices with fewer than two possible readers here.
    short: int


@dataclass(frozen=True)
class ShownCase:
    """A choice as a reader sees it: no prescriber, no person, no opinion of the other reader."""

    case: PeerCase
    facts: tuple[tuple[str, tuple[dict[str, Any], ...]], ...]
    offered: tuple[str, ...]
    missing: tuple[str, ...]
    chosen: str
    departure: str
    reason: str


@dataclass(frozen=True)
class PeerResult:
    """Opinions of both readers, once every choice was read twice."""

    kappa: Kappa | None
    by_kind: tuple[tuple[str, tuple[int, ...], int], ...]
    heads: tuple[str, ...]
    doubtful: tuple[PeerCase, ...]


def round_rows(site: Site, user: User) -> list[RoundRow]:
    rounds = PeerRound.objects.filter(site=site).annotate(n=Count("cases", distinct=True))
    rows = []
    read_twice = PeerCase.objects.filter(round__site=site).annotate(k=Count("readings")).filter(k=2)
    full = Counter(read_twice.values_list("round_id", flat=True))
    for one in rounds:
        rows.append(
            RoundRow(
                one,
                one.n,
                full[one.pk],
                open_to(one.cases.all(), user).count(),
                cases_short(one.cases.all(), site),
            )
        )
    return rows


def open_count(round_: PeerRound) -> int:
    """Choices of a round not read by two yet."""
    return round_.cases.annotate(k=Count("readings")).filter(k__lt=2).count()


def next_case(round_: PeerRound, user: User) -> PeerCase | None:
    """The next choice this user has to read."""
    found: PeerCase | None = open_to(round_.cases.all(), user).select_related("prescription__limb").first()
    return found


def shown_case(case: PeerCase) -> ShownCase:
    p: Prescription = case.prescription
    facts = tuple(
        (f"{copy.get('where', '')}", tuple(copy.get("rows", ())))
        for copy in p.facts.values()
        if isinstance(copy, dict)
    )
    return ShownCase(
        case=case,
        facts=facts,
        offered=tuple(
            DEVICES[row["id"]].label for row in p.advice.get("classes", ()) if row["id"] in DEVICES
        ),
        missing=tuple(p.advice.get("missing", ())),
        chosen=p.get_device_class_display(),
        departure=p.departure_told,
        reason=p.reason,
    )


def peer_result(round_: PeerRound) -> PeerResult | None:
    """None until every choice was read by two."""
    cases = list(round_.cases.select_related("prescription").prefetch_related("readings"))
    pairs = [sorted(case.readings.all(), key=lambda r: r.place) for case in cases]
    if not cases or any(len(pair) < 2 for pair in pairs):
        return None
    first, second = [p[0].opinion for p in pairs], [p[1].opinion for p in pairs]
    kinds = []
    for words, departed in (("Departures", True), ("Agreements", False)):
        own = [
            reading.opinion
            for case, pair in zip(cases, pairs, strict=True)
            if (case.prescription.agreement == "departed") == departed
            for reading in pair
        ]
        counted = Counter(own)
        kinds.append((words, tuple(counted[o.value] for o in PeerOpinion), len(own)))
    doubtful = tuple(
        case
        for case, pair in zip(cases, pairs, strict=True)
        if any(reading.opinion == PeerOpinion.NOT_JUSTIFIED for reading in pair)
    )
    return PeerResult(
        cohen_kappa(first, second), tuple(kinds), tuple(str(o.label) for o in PeerOpinion), doubtful
    )
