"""Two records of one person for the tests of merging, and one digest of every row that hangs on a record."""

from __future__ import annotations

import hashlib
from datetime import date, timedelta

from django.utils import timezone

from clinic.models import (
    Circumstances,
    Contact,
    DecisionLine,
    Fitting,
    LimbPlan,
    Look,
    Person,
    Photo,
    PhotoConsent,
    Referral,
    ReviewNote,
)
from clinic.people.reads.merging import merge_preview
from clinic.people.writes.merging import person_merge
from clinic.record.reads.person_rows import ABOUT_RECORDS, nouns_of
from offload.models import ReliefPlan
from tests import factories


def record(site, *, side="left", days_ago=0, place="mth_2", device=True, plan=False, **fields):
    """A person with a row of many kinds: one lesion on one side, seen twice, with or without a running
    device.
    """
    person = factories.person(at=site, **fields)
    feet = {one: factories.limb(of=person, side=one) for one in ("left", "right")}
    author, today = factories.author(), timezone.localdate()
    day = today - timedelta(days=days_ago)
    factories.weight(of=person, on=day)
    factories.finding(of=feet[side], found_on=day)
    lesion = factories.lesion(on=feet[side], place=place)
    for back in (9, 2):
        visit = factories.visit(
            of=person, on=day - timedelta(days=back), next_on=day - timedelta(days=back) + timedelta(days=7)
        )
        factories.measurement(at=visit, of=lesion)
    factories.red_flag(of=person)
    factories.event(of=lesion, kind="debrided", on=day)
    Circumstances.objects.create(person=person, asked_on=day, high_falls_risk=False, created_by=author)
    Contact.objects.create(
        person=person, tried_at=timezone.now(), how="letter", result="reached", created_by=author
    )
    Referral.objects.create(
        person=person,
        lesion=lesion,
        to="vascular",
        urgency="planned",
        because="test",
        made_at=timezone.now(),
        created_by=author,
    )
    PhotoConsent.objects.create(person=person, given_on=day, created_by=author)
    Photo.objects.create(
        lesion=lesion,
        visit=visit,
        taken_on=day,
        file="photos/none.jpg",
        sha256="0" * 64,
        width_px=1,
        height_px=1,
        created_by=author,
    )
    Look.objects.create(lesion=lesion, asked_at=timezone.now(), question="test", created_by=author)
    ReviewNote.objects.create(
        lesion=lesion, seen_on=today, concern="slow", note="Seen with the family.", created_by=author
    )
    if device:
        worn = factories.prescription(of=feet[side], lesions=[lesion], fitted_on=day)
        Fitting.objects.create(prescription=worn, fitted_on=day, created_by=author)
        line = DecisionLine(
            limb=feet[side],
            prescription=worn,
            kind="signed",
            decided_on=day,
            who="test",
            sentence="Chosen.",
            created_by=author,
        )
        line.digest = line.computed_digest()
        line.save()
    if plan:
        link = LimbPlan.objects.create(limb=feet[side], plan=relief_plan(), created_by=author)
        link.lesions.set([lesion])
    return person


def relief_plan():
    return ReliefPlan.objects.create(
        code=f"M{ReliefPlan.objects.count():05d}",
        side="left",
        spec={},
        result={},
        sha256="0" * 64,
        core_version="test",
        created_at=timezone.now(),
        made_by="test",
    )


def _values(row):
    told = {
        f.attname: str(f.value_from_object(row)) for f in row._meta.concrete_fields if f.name != "version"
    }
    for field in row._meta.many_to_many:
        told[field.name] = sorted(getattr(row, field.name).values_list("pk", flat=True))
    return sorted(told.items())


def rows_of(*people):
    """(noun, number) -> every value of each row that hangs on these records; edits are counted elsewhere."""
    found = {}
    for person in people:
        person.refresh_from_db()
        found["person", person.pk] = _values(person)
        for model, path in nouns_of():
            if model not in ABOUT_RECORDS:
                for row in model._default_manager.filter(**{path: person.pk}):
                    found[model._meta.model_name, row.pk] = _values(row)
    return found


def digest(*people):
    return hashlib.sha256(repr(sorted(rows_of(*people).items())).encode()).hexdigest()


def twice(site):
    """One person twice: the second record came later, with the day and month of birth swapped."""
    kept = record(
        site, given_name="Alma", family_name="Reed", birth_date=date(1950, 3, 4), allergies="penicillin"
    )
    emptied = record(
        site,
        side="right",
        days_ago=1,
        given_name="Alma",
        family_name="Read",
        birth_date=date(1950, 4, 3),
        telephone="000 55 77",
        allergies="latex",
        interpreter=True,
    )
    return Person.objects.get(pk=kept.pk), Person.objects.get(pk=emptied.pk)


def merge(by, kept, emptied, **more):
    """As the page does it: with the mark of the preview just looked at."""
    mark = merge_preview(kept, emptied).mark
    return person_merge(
        by=by, kept=kept, emptied=emptied, because="Registered twice in May.", **{"mark": mark, **more}
    )
