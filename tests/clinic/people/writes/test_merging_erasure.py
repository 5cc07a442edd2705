"""Erasing by law reaches both records of a merge, and the copies that a mistaken one left with another
person.
"""

from __future__ import annotations

import pytest
from django.db import transaction
from django.utils import timezone

from clinic.accounts.writes.erasure import person_erase, person_export
from clinic.models import AuditEvent, Erasure, Merge, Person, PersonKey
from clinic.people.writes.merging import merge_undo
from clinic.people.writes.people import weight_add
from clinic.record.errors import Refused
from clinic.record.writes import audit
from tests.clinic.people.two_records import merge, twice

pytestmark = pytest.mark.django_db


@pytest.fixture
def pair(site):
    return twice(site)


def test_erasing_the_kept_record_reaches_what_was_merged_into_it(
    append_only, pair, podiatrist, manager, staff
):
    kept, emptied = pair
    with transaction.atomic():  # a row of the chain under the key of the second record
        weight_add(by=staff, person=emptied, kg=70, measured_on=timezone.localdate(), how="scales")
    merge(podiatrist, kept, emptied)
    kept.refresh_from_db()
    emptied.refresh_from_db()
    with pytest.raises(Refused, match="erase that one"):
        person_erase(
            by=manager, person=emptied, typed_number=emptied.record_number, ground="Request, Art. 17"
        )
    numbers = {kept.pk, emptied.pk}
    person_erase(by=manager, person=kept, typed_number=kept.record_number, ground="Request of 3 May, Art. 17")
    assert not Person.objects.filter(pk__in=numbers).exists()
    assert not Person.history.filter(id__in=numbers).exists()
    assert not PersonKey.objects.filter(pk__in=numbers).exists()
    assert not Merge.objects.exists()
    assert not Merge.history.exists()
    assert all("erased" in e.detail for e in AuditEvent.objects.filter(person_id__in=numbers))
    assert list(audit.faults(kept.site_id)) == []
    assert set(Erasure.objects.values_list("person_id", flat=True)) == numbers


def test_erasing_one_of_two_parted_people_leaves_no_word_of_it_with_the_other(
    append_only, pair, podiatrist, manager
):
    kept, emptied = pair
    merge_undo(by=podiatrist, merge=merge(podiatrist, kept, emptied), because="Two people.")
    assert Person.history.filter(id=kept.pk, telephone="000 55 77").exists()
    emptied.refresh_from_db()
    person_erase(
        by=manager, person=emptied, typed_number=emptied.record_number, ground="Request of 3 May, Art. 17"
    )
    assert not Person.history.filter(telephone="000 55 77").exists()
    assert not Person.history.filter(allergies__contains="latex").exists()
    assert Person.objects.get(pk=kept.pk).allergies == "penicillin"
    assert not Merge.objects.exists()


def test_the_copy_for_the_person_holds_both_records(pair, podiatrist, manager):
    kept, emptied = pair
    merge(podiatrist, kept, emptied)
    text = person_export(by=manager, person=Person.objects.get(pk=kept.pk))
    assert emptied.record_number in text
    assert '"Read"' in text
