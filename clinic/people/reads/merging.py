"""Two records side by side before they become one: what each holds, what contradicts, what the one record
will say.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.utils.formats import date_format

from clinic.models import (
    Merge,
    Person,
)
from clinic.people.reads.merge_rules import Hindrance, Labels, filled_person, hindrances, relabelled
from clinic.people.reads.open_record import OpenRecord, open_record
from clinic.record.reads.person_rows import counts_of

__all__ = ["FieldRow", "MergePreview", "MergeSide", "merge_preview", "merges_of"]

#: Shown side by side: field -> words.
SHOWN = {
    "record_number": "Record number",
    "given_name": "Given name",
    "family_name": "Family name",
    "birth_date": "Born",
    "telephone": "Telephone",
    "second_contact": "Second contact",
    "language": "Language",
    "interpreter": "Interpreter",
    "allergies": "Allergies",
    "diabetes_type": "Diabetes",
    "dialysis": "Dialysis",
    "state": "State",
}


@dataclass(frozen=True)
class MergeSide:
    """What one record holds."""

    person: Person
    open: OpenRecord
    past_lesions: int
    visits: int
    photos: int
    prescriptions: int
    plans: int
    weights: int
    rows: int


@dataclass(frozen=True)
class FieldRow:
    """One field in both records and as it will stand."""

    words: str
    kept: str
    other: str
    will_be: str

    @property
    def differs(self) -> bool:
        return self.kept != self.other


@dataclass(frozen=True)
class MergePreview:
    kept: MergeSide
    emptied: MergeSide
    fields: tuple[FieldRow, ...]
    hindrances: tuple[Hindrance, ...]
    notes: tuple[str, ...]
    #: Of the rows on the page: a merge of something else than was shown is refused.
    mark: str


def _side(person: Person, counts: dict[str, dict[int, int]]) -> MergeSide:
    still_open = open_record(person)

    def n(noun: str) -> int:
        return counts[noun].get(person.pk, 0)

    return MergeSide(
        person=person,
        open=still_open,
        past_lesions=n("lesion") - len(still_open.lesions),
        visits=n("visit"),
        photos=n("photo"),
        prescriptions=n("prescription"),
        plans=n("limbplan"),
        weights=n("weight"),
        rows=sum(of.get(person.pk, 0) for of in counts.values()),
    )


def _words(person: Person, name: str, value: Any) -> str:
    if value in ("", None):
        return "not recorded"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, date):
        return str(date_format(value))
    field: Any = Person._meta.get_field(name)
    return str(dict(field.flatchoices or ()).get(value, value))


def _fields(kept: Person, emptied: Person) -> Iterator[FieldRow]:
    taken = filled_person(kept, emptied)
    for name, label in SHOWN.items():
        ours = getattr(kept, name)
        will_be = _words(kept, name, taken.get(name, ours))
        if name == "record_number":
            will_be = f"{ours}; found by {emptied.record_number} too"
        yield FieldRow(label, _words(kept, name, ours), _words(kept, name, getattr(emptied, name)), will_be)


def _notes(kept: MergeSide, emptied: MergeSide, labels: Labels) -> Iterator[str]:
    places = {(lesion.limb.side, lesion.place): lesion for lesion in kept.open.lesions}
    for lesion in emptied.open.lesions:
        if twin := places.get((lesion.limb.side, lesion.place)):
            yield (
                f"Both have an open ulcer at one place ({twin.where}). Both will stand in the one record, "
                "each with "
                "its own measurements: look at the foot, and end the one that is not there."
            )
    for lesion in (*kept.open.lesions, *emptied.open.lesions):
        if new := labels.of.get(lesion.pk):
            yield (
                f"Ulcer {lesion.label} ({lesion.where}, No. {lesion.limb.person.record_number}) will be "
                f"called {new}."
            )
    stays = {
        device.limb.side for device in (*kept.open.devices, *emptied.open.devices) if device.stays_closed
    }
    if len(stays) == 2:
        yield "A device stays on each foot then: a podiatrist looks at that today."
    dates = [
        side.open.last_visit.next_on
        for side in (kept, emptied)
        if side.open.last_visit and side.open.last_visit.next_on
    ]
    if len(set(dates)) == 2:
        yield (
            f"Two next visits are agreed, {date_format(min(dates))} and {date_format(max(dates))}: the "
            "earlier one "
            "stands, unless somebody has come since."
        )
    if emptied.open.open_flags:
        yield (
            f"{emptied.open.open_flags} red flag{'s' if emptied.open.open_flags > 1 else ''} unanswered: "
            "it stays on Today until answered."
        )


def merge_preview(kept: Person, emptied: Person) -> MergePreview:
    """Both records and what will come of them; a fixed number of queries."""
    counts = counts_of(kept, emptied)
    ours, theirs = _side(kept, counts), _side(emptied, counts)
    labels = relabelled(kept, emptied)
    seen = [
        kept.pk,
        kept.version,
        emptied.pk,
        emptied.version,
        sorted((k, sorted(v.items())) for k, v in counts.items()),
    ]
    return MergePreview(
        kept=ours,
        emptied=theirs,
        fields=tuple(_fields(kept, emptied)),
        hindrances=hindrances(kept, emptied, (ours.open.devices, theirs.open.devices), labels),
        notes=tuple(_notes(ours, theirs, labels)),
        mark=hashlib.sha256(json.dumps(seen).encode()).hexdigest()[:32],
    )


def merges_of(person: Person) -> list[Merge]:
    """Standing merges into a record, newest first, with the records that went into it."""
    return list(Merge.objects.filter(kept=person, undone_at=None).select_related("emptied", "created_by"))
