"""The pages of likely duplicates, of two records side by side, and of undoing a merge."""

from __future__ import annotations

from datetime import date

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from clinic.models import AuditEvent, Lesion, Merge, PeopleApart, Person, Visit
from clinic.people.reads.merging import merge_preview
from clinic.people.reads.people import people_found
from tests import factories
from tests.clinic.people.two_records import record, twice

pytestmark = pytest.mark.django_db


@pytest.fixture
def pair(site):
    return twice(site)


def look(client, kept, emptied):
    return client.get(reverse("merge_look", args=[kept.pk, emptied.pk]))


def press(client, kept, emptied, **more):
    typed = {"because": "Asked her: one patient.", "mark": merge_preview(kept, emptied).mark, **more}
    return client.post(reverse("merge_do", args=[kept.pk, emptied.pk]), typed)


def test_the_list_says_why_and_leads_to_both(as_staff, pair):
    html = as_staff.get(reverse("duplicates")).content.decode()
    assert "Names spelt alike, day and month of birth swapped." in html
    assert reverse("merge_look", args=[pair[0].pk, pair[1].pk]) in html
    assert reverse("duplicates") in as_staff.get(reverse("people")).content.decode()


def test_side_by_side_shows_what_each_has_and_writes_nothing(as_podiatrist, pair):
    rows = AuditEvent.objects.count()
    page = look(as_podiatrist, *pair)
    html = page.content.decode()
    assert page.status_code == 200
    assert "penicillin; latex" in html
    assert "1 unanswered" in html
    assert "Two next visits are agreed" in html
    assert AuditEvent.objects.count() == rows
    assert not Merge.objects.exists()


def test_two_records_that_are_not_alike_are_not_merged_in_passing(as_podiatrist, pair, site):
    other = factories.person(at=site, given_name="Bo", family_name="Quill", birth_date=date(1971, 9, 30))
    words = "do not say that this is one patient"
    assert words in look(as_podiatrist, pair[0], other).content.decode()
    html = look(as_podiatrist, *pair).content.decode()
    assert words not in html
    assert "What speaks for one patient: names spelt alike, day and month of birth swapped." in html


def test_the_preview_asks_no_more_queries_of_a_longer_record(as_podiatrist, pair):
    def queries():
        with CaptureQueriesContext(connection) as told:
            look(as_podiatrist, *pair)
        return len(told)

    queries()
    few = queries()
    for _ in range(9):
        factories.weight(of=pair[0], kg=80)
        factories.red_flag(of=pair[1])
    assert queries() == few


def test_merging_leads_to_the_kept_record_which_either_number_finds(as_podiatrist, as_staff, pair):
    kept, emptied = pair
    answer = press(as_podiatrist, kept, emptied)
    page = reverse("person", args=[kept.pk])
    assert answer["Location"] == page
    html = as_podiatrist.get(page).content.decode()
    assert f"Earlier No. {emptied.record_number}" in html
    assert as_staff.get(reverse("person", args=[emptied.pk]))["Location"] == page
    for word in (emptied.record_number, "Read"):
        assert [one.pk for one in people_found(kept.site, q=word)] == [kept.pk]
    assert emptied not in people_found(kept.site, show="left")


def test_a_clerk_looks_and_does_not_merge(as_staff, pair):
    html = look(as_staff, *pair).content.decode()
    assert "A podiatrist or a manager merges records" in html
    assert press(as_staff, *pair).status_code == 403
    assert not Merge.objects.exists()


def test_what_contradicts_is_named_and_leads_to_where_it_is_settled(as_manager, site):
    kept, emptied = record(site), record(site)
    page = look(as_manager, kept, emptied)
    html = page.content.decode()
    assert "Not yet. Settle this first:" in html
    assert "running device on the left foot" in html
    assert reverse("visit", args=[Visit.objects.filter(person=emptied).last().pk]) in html
    assert "Merge No." not in html
    answer = press(as_manager, kept, emptied)
    assert answer.status_code == 422
    assert not Merge.objects.exists()


def test_a_refused_merge_keeps_what_was_typed(as_manager, pair):
    kept, emptied = pair
    mark = merge_preview(kept, emptied).mark
    factories.weight(of=emptied, kg=70)
    answer = press(as_manager, kept, emptied, mark=mark)
    html = answer.content.decode()
    assert answer.status_code == 422
    assert "changed since you opened this page" in html
    assert "Asked her: one patient." in html
    assert merge_preview(kept, emptied).mark in html  # the next press is about what stands there now
    assert press(as_manager, kept, emptied, because="").status_code == 422


def test_two_people_are_told_apart_and_taken_back(as_staff, pair):
    one, other = pair
    page = reverse("people_apart", args=[one.pk, other.pk])
    as_staff.post(page)
    assert "No two records of this clinic" in as_staff.get(reverse("duplicates")).content.decode()
    assert "They may be one patient" in look(as_staff, one, other).content.decode()
    as_staff.post(page, {"act": "take back"})
    assert PeopleApart.objects.get().taken_back_at


def test_undoing_leads_to_the_record_that_is_its_own_again(as_podiatrist, pair):
    kept, emptied = pair
    press(as_podiatrist, kept, emptied)
    made = Merge.objects.get()
    page = reverse("merge_undo", args=[made.pk])
    assert "What went over" in as_podiatrist.get(page).content.decode()
    assert as_podiatrist.post(page, {"because": ""}).status_code == 422
    assert as_podiatrist.post(page, {"because": "Two people."})["Location"] == reverse(
        "person", args=[emptied.pk]
    )
    assert "Two people." in as_podiatrist.get(page).content.decode()
    assert Person.objects.get(pk=emptied.pk).merged_into is None


def test_an_undo_that_is_refused_says_why_and_keeps_the_text(as_podiatrist, pair):
    kept, emptied = pair
    press(as_podiatrist, kept, emptied)
    visit = factories.visit(of=kept)
    for lesion in Lesion.objects.filter(limb__person=kept):
        factories.measurement(at=visit, of=lesion)
    answer = as_podiatrist.post(
        reverse("merge_undo", args=[Merge.objects.get().pk]), {"because": "Two people."}
    )
    assert answer.status_code == 422
    html = answer.content.decode()
    assert "A measurement written since" in html
    assert "Two people." in html


def test_a_pair_with_a_record_of_another_clinic_is_not_there(as_manager, site, other_site):
    mine, other = factories.person(at=site), factories.person(at=other_site)
    for name in ("merge_look", "merge_do", "people_apart"):
        for pair in ((mine.pk, other.pk), (other.pk, mine.pk)):
            assert as_manager.post(reverse(name, args=pair)).status_code == 404, (name, pair)
            assert as_manager.get(reverse(name, args=pair)).status_code == 404, (name, pair)


def test_the_number_of_a_merged_record_breaks_the_glass_to_the_other_one(as_podiatrist, other_site):
    kept = factories.person(at=other_site)
    emptied = factories.merge(into=kept).emptied
    answer = as_podiatrist.post(
        reverse("break_glass"),
        {
            "site": other_site.pk,
            "record_number": emptied.record_number,
            "birth_date": "1960-05-17",
            "reason": "Came to our emergency room with fever.",
        },
    )
    assert answer["Location"] == reverse("person", args=[kept.pk])
