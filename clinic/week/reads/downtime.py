"""What the clinic needs on paper when the program cannot be reached: who comes, and who is sealed in."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from clinic.models import OpeningCard, Person, Prescription, Site, Visit, VisitState
from clinic.visits.reads import VisitSheet, visit_sheet
from clinic.week.reads.preparation import Expected, expected_on

__all__ = ["DowntimePack", "PaperRow", "SealedDevice", "downtime_pack", "entered_on"]


@dataclass(frozen=True)
class SealedDevice:
    """A device that somebody wears sealed, with the card of its sealing, if one was made."""

    prescription: Prescription
    card: OpeningCard | None


@dataclass(frozen=True)
class DowntimePack:
    """One clinic's day, as it was known when the pack was made."""

    site: Site
    day: date
    made_at: datetime
    expected: tuple[Expected, ...]
    sheets: tuple[VisitSheet, ...]
    sealed: tuple[SealedDevice, ...]


def downtime_pack(site: Site, day: date, now: datetime) -> DowntimePack:
    """Everybody expected on the day, each with last values, and every sealed device of the clinic.

    The sealed ones are all there, not only those of the day: the telephone may ring about any of them.
    """
    expected = expected_on(site, day, now)
    devices = [
        device
        for device in Prescription.objects.filter(limb__person__site=site, stopped_on=None)
        .exclude(sealed_on=None)
        .select_related("limb__person__site")
        .order_by("open_by", "pk")
        if device.stays_closed
    ]
    cards: dict[tuple[int, date | None, date | None], OpeningCard] = {
        (card.prescription_id, card.sealed_on, card.open_by): card
        for card in OpeningCard.objects.filter(prescription__in=devices).order_by("pk")
    }
    return DowntimePack(
        site=site,
        day=day,
        made_at=now,
        expected=expected,
        sheets=tuple(visit_sheet(one.person, day) for one in expected),
        sealed=tuple(SealedDevice(one, cards.get((one.pk, one.sealed_on, one.open_by))) for one in devices),
    )


@dataclass(frozen=True)
class PaperRow:
    """A person whose sheet of a day may lie on the pile, and the visit if it was entered already."""

    person: Person
    entered: Visit | None


def entered_on(site: Site, day: date, now: datetime) -> tuple[PaperRow, ...]:
    """Everybody who was expected on a day or has a visit of it, by name (a fixed number of queries)."""
    visits = {
        visit.person_id: visit
        for visit in Visit.objects.filter(
            person__site=site, visited_on=day, state=VisitState.STANDS
        ).select_related("person")
    }
    # An entered visit carries the next date, so its person is expected on this day no more.
    people = {one.person.pk: one.person for one in expected_on(site, day, now)}
    people |= {visit.person_id: visit.person for visit in visits.values()}
    by_name = sorted(people.values(), key=lambda who: (who.family_name, who.given_name, who.pk))
    return tuple(PaperRow(who, visits.get(who.pk)) for who in by_name)
