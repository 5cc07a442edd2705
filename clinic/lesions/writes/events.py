"""Events that mark a healing curve."""

from __future__ import annotations

from datetime import date

from django.db import transaction

from clinic.lesions.reads.debridement import no_sharp_debridement
from clinic.models import Anticoagulant, Event, EventKind, Lesion, User
from clinic.record.errors import Refused
from clinic.record.writes import audit
from clinic.record.writes.rows import store

__all__ = ["event_add"]

#: What concerns the whole limb stands on the curve of every lesion of that limb.
OF_THE_LIMB = (
    EventKind.REVASCULARISATION,
    EventKind.ADMISSION,
    EventKind.FALL,
    EventKind.DEVICE_BROKEN,
    EventKind.INSOLE_REPLACED,
)


@transaction.atomic
def event_add(
    *,
    by: User,
    lesion: Lesion,
    kind: str,
    happened_on: date,
    note: str = "",
    sharp: bool | None = None,
    anticoagulant: str = "",
    anticoagulant_done: str = "",
    despite: str = "",
) -> Event:
    """Record something that happened to a lesion, or to its limb.

    A debridement answers whether it was sharp and whether the patient is on an anticoagulant. Sharp
    debridement of an ulcer with severe ischaemia that is not known to be infected is refused, until the
    vascular team's word is written (intersocietal PAD guideline 2023, second-hand; the way out is a design
    choice, so that what was done is never left out of the record).
    """
    person = lesion.limb.person
    if happened_on < person.birth_date:
        raise Refused("On: lies before the patient's birth.", field="happened_on")
    asked_of_debridement = {
        "sharp": sharp,
        "anticoagulant": anticoagulant,
        "anticoagulant_done": anticoagulant_done.strip(),
        "despite": despite.strip(),
    }
    if kind == EventKind.DEBRIDED:
        _debridement(lesion, happened_on, **asked_of_debridement)  # type: ignore[arg-type]
    else:
        for name, value in asked_of_debridement.items():
            if value not in (None, ""):
                raise Refused(
                    "What happened: sharp, anticoagulant and agreement belong to a debridement.", field=name
                )
    event = store(
        Event(
            limb=lesion.limb,
            lesion=None if kind in OF_THE_LIMB else lesion,
            kind=kind,
            happened_on=happened_on,
            note=note,
            **asked_of_debridement,
        ),
        by=by,
    )
    audit.record(by=by, site=person.site, verb="recorded", target=event, person=person, kind=kind)
    return event


def _debridement(
    lesion: Lesion,
    happened_on: date,
    *,
    sharp: bool | None,
    anticoagulant: str,
    anticoagulant_done: str,
    despite: str,
) -> None:
    if sharp is None:
        raise Refused("Sharp debridement: yes or no; one is needed.", field="sharp")
    if anticoagulant not in Anticoagulant.values:
        raise Refused("On an anticoagulant: yes, no or not known; one is needed.", field="anticoagulant")
    if anticoagulant == Anticoagulant.YES and not anticoagulant_done:
        raise Refused(
            "What was done about bleeding: the patient is on an anticoagulant; a few words are needed.",
            field="anticoagulant_done",
        )
    stopped = no_sharp_debridement(lesion, happened_on)
    if sharp and stopped and not despite:
        raise Refused(
            f"{stopped} Ask the vascular team first; if it was done, write who agreed and when.",
            field="despite",
        )
    if despite and not (sharp and stopped):
        raise Refused(
            "Who of the vascular team agreed: only for sharp debridement of an uninfected ulcer with "
            "ischaemia grade 3.",
            field="despite",
        )
