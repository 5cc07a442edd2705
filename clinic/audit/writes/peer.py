"""Peer reading: the draw, and a reader's opinion."""

from __future__ import annotations

from datetime import date
from random import Random

from django.db import transaction

from clinic.models import (
    Agreement,
    PeerCase,
    PeerOpinion,
    PeerReading,
    PeerRound,
    Prescription,
    Role,
    Site,
    User,
)
from clinic.people.reads.peer_waiting import READERS
from clinic.record.errors import Refused
from clinic.record.writes import audit
from clinic.record.writes.rows import store

__all__ = ["peer_draw", "peer_read"]


@transaction.atomic
def peer_draw(*, by: User, site: Site, seed: int, since: date, until: date, size: int) -> PeerRound:
    """Draw as many departures as agreements of a period, in an order that the seed alone decides."""
    signed = Prescription.objects.filter(
        limb__person__site=site, prescribed_on__gte=since, prescribed_on__lte=until
    ).order_by("pk")
    agreements = [a.value for a in Agreement if a not in (Agreement.DEPARTED, Agreement.UNJUDGED)]
    kinds = [
        list(signed.filter(agreement__in=kind).values_list("pk", flat=True))
        for kind in ([Agreement.DEPARTED.value], agreements)
    ]
    if not all(kinds):
        raise Refused(
            "This period has no departure or no agreement to draw from. Choose a longer one.", field="since"
        )
    rng = Random(seed)  # noqa: S311  a draw to be made again from its seed
    drawn = [pk for kind in kinds for pk in rng.sample(kind, min(size, len(kind)))]
    rng.shuffle(drawn)
    made = PeerRound(site=site, seed=seed, since=since, until=until, size=size)
    store(made, by=by)
    for position, pk in enumerate(drawn, start=1):
        store(PeerCase(round=made, prescription_id=pk, position=position), by=by)
    audit.record(
        by=by, site=site, verb="drew", target=made, seed=seed, since=since, until=until, cases=len(drawn)
    )
    return made


@transaction.atomic
def peer_read(*, by: User, case: PeerCase, opinion: str, words: str = "") -> PeerReading:
    """One reader's opinion of one choice. Nobody reads the own choice, or one twice, or as a third."""
    if by.role != Role.PODIATRIST:
        raise Refused("A podiatrist reads the choices of podiatrists.")
    if case.prescription.signed_by_id == by.pk:
        raise Refused("This choice is yours; two others read it.")
    # One reader at a time: the round's row is the lock.
    PeerRound.objects.select_for_update().get(pk=case.round_id)
    before = list(case.readings.all())
    if any(reading.reader_id == by.pk for reading in before):
        raise Refused("You have read this choice already.")
    if len(before) >= READERS:
        raise Refused("Two readers have read this choice already.")
    if opinion == PeerOpinion.NOT_JUSTIFIED and not words.strip():
        raise Refused("Say in words what is not justified.", field="words")
    made = PeerReading(case=case, reader=by, place=len(before) + 1, opinion=opinion, words=words.strip())
    store(made, by=by)
    audit.record(by=by, site=case.round.site, verb="read", target=made, opinion=opinion)
    return made
