"""What is open on one person's record: what a transfer takes along and a merge must not lose."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from clinic.models import OPEN_STATES, Lesion, Person, Prescription, Referral, Visit, VisitState

__all__ = ["OpenRecord", "open_record"]


@dataclass(frozen=True)
class OpenRecord:
    """Open lesions, running devices, unanswered flags, open referrals, and the last visit
    that stands.
    """

    lesions: Sequence[Lesion]
    devices: Sequence[Prescription]
    open_flags: int
    referrals: Sequence[Referral]
    last_visit: Visit | None

    @property
    def flag_words(self) -> str:
        return f"{self.open_flags} unanswered"


def open_record(person: Person) -> OpenRecord:
    """Five queries, whatever stands on the record."""
    return OpenRecord(
        lesions=list(
            Lesion.objects.filter(limb__person=person, state__in=OPEN_STATES)
            .select_related("limb")
            .order_by("label")
        ),
        devices=list(
            Prescription.objects.filter(limb__person=person, stopped_on=None)
            .select_related("limb")
            .order_by("limb__side")
        ),
        open_flags=person.red_flags.standing().filter(answer="").count(),
        referrals=list(person.referrals.open().order_by("made_at")),
        last_visit=Visit.objects.filter(person=person, state=VisitState.STANDS)
        .order_by("-visited_on", "-pk")
        .first(),
    )
