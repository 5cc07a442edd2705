"""A copy, a restriction, an erasure; reading across sites in an emergency; what changed; problems told."""

from __future__ import annotations

import json
import re
from datetime import timedelta

import pytest
from django.apps import apps
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.db import connection, transaction
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from clinic.accounts.writes import digests
from clinic.accounts.writes.erasure import nouns_of, person_erase
from clinic.accounts.writes.verification import verify
from clinic.audit.reads.cases import BASES, AuditFilter
from clinic.audit.reads.outcomes import OutcomesFilter, outcomes_of
from clinic.models import (
    AuditEvent,
    BreakGlass,
    Erasure,
    ErasurePermit,
    LimbPlan,
    Person,
    PersonKey,
    Photo,
    Problem,
    SiteFoam,
    ViewEvent,
)
from clinic.people.writes.people import person_correct, weight_add
from clinic.record.errors import Refused
from clinic.record.writes import audit
from clinic.record.writes.rows import store
from tests import factories
from tests.test_access import address, records

MARKER = "Zweistein"


@pytest.fixture(autouse=True)
def _folders(settings, tmp_path):
    settings.DIGEST_DIR = tmp_path / "digests"
    settings.STORAGES = {
        **settings.STORAGES,
        "default": {
            "BACKEND": "django.core.files.storage.FileSystemStorage",
            "OPTIONS": {"location": str(tmp_path / "media"), "base_url": None},
        },
    }


@pytest.fixture
def full(site, staff):
    """A person with a row of every kind a route names, a changed name, and a picture."""
    row = records(site)
    person = Person.objects.get(pk=row["person"])
    with transaction.atomic():
        weight_add(by=staff, person=person, kg=81, measured_on=timezone.localdate(), how="scales")
    photo = Photo.objects.get(pk=row["photo"])
    name = default_storage.save("photos/ab/abc.jpg", ContentFile(b"picture"))
    Photo.objects.filter(pk=photo.pk).update(file=name)
    person.family_name = MARKER
    person.save()
    return person


def whole_database():
    """Every value of every row of every table, as one text."""
    out = []
    with connection.cursor() as cursor:
        for table in connection.introspection.table_names(cursor):
            cursor.execute(f'SELECT * FROM "{table}"')  # noqa: S608
            out.append(repr(cursor.fetchall()))
    return "\n".join(out)


def test_erasure_leaves_no_word_of_the_person_and_a_chain_that_holds(append_only, full, manager, staff, site):
    other = factories.person(at=site)
    with transaction.atomic():
        weight_add(by=staff, person=other, kg=70, measured_on=timezone.localdate(), how="scales")
    digests.write()
    number, file = full.pk, Photo.objects.filter(lesion__limb__person=full).first().file.name
    reached = {number, *full.merged_records.values_list("pk", flat=True)}
    kept = AuditEvent.objects.count()
    assert MARKER in whole_database()
    with pytest.raises(Refused):
        person_erase(by=manager, person=full, typed_number="wrong", ground="Request under Art. 17, letter 12")
    person_erase(by=manager, person=full, typed_number=full.record_number, ground="Request of 3 May, Art. 17")
    text = whole_database()
    assert MARKER not in text
    assert full.record_number not in text
    for model, path in nouns_of():
        assert not model._default_manager.filter(**{path: number}).exists(), model
        assert (
            model._default_manager.filter(**{path: other.pk}).count()
            == model.history.filter(
                history_type="+", id__in=model._default_manager.filter(**{path: other.pk}).values("pk")
            ).count()
        )
    assert not PersonKey.objects.filter(pk=number).exists()
    assert AuditEvent.objects.count() == kept + len(reached)
    assert [
        fault.words for fault in verify() if fault.words.startswith(("clinic_audit", "clinic_view"))
    ] == []
    assert list(digests.faults()) == []
    assert set(Erasure.objects.values_list("person_id", flat=True)) == reached
    assert ErasurePermit.objects.count() == 0
    assert default_storage.exists(file)  # until the transaction holds


@pytest.mark.django_db(transaction=True)
def test_erasure_removes_the_picture_once_the_rows_are_gone(settings):
    site = factories.site()
    manager = factories.user("manager", at=site)
    person = Person.objects.get(pk=records(site)["person"])
    name = default_storage.save("photos/ab/abc.jpg", ContentFile(b"picture"))
    Photo.objects.filter(lesion__limb__person=person).update(file=name)
    person_erase(
        by=manager, person=person, typed_number=person.record_number, ground="Request of 3 May, Art. 17"
    )
    assert not default_storage.exists(name)


def test_erasure_knows_every_clinical_noun():
    from clinic.models import ClinicalRecord

    nouns = {m for m in apps.get_app_config("clinic").get_models() if issubclass(m, ClinicalRecord)} - {
        Person
    }
    # What belongs to the site alone is no noun of a person.
    of_the_site = {"PeerRound", "SavedReport", "SiteFoam", "SiteReason"}
    assert {noun.__name__ for noun in nouns} - of_the_site == {model.__name__ for model, _ in nouns_of()}


def test_the_file_remembers_erasures_so_that_a_restore_can_name_them(full, manager):
    reached = [full.pk, *full.merged_records.order_by("pk").values_list("pk", flat=True)]
    person_erase(by=manager, person=full, typed_number=full.record_number, ground="Request of 3 May, Art. 17")
    digests.write()
    assert digests.erased_numbers() == reached


def test_the_copy_holds_rows_earlier_copies_deeds_and_reads(as_manager, as_staff, full):
    as_staff.get(reverse("person", args=[full.pk]))
    answer = as_manager.post(reverse("person_copy", args=[full.pk]))
    told = json.loads(answer.content)
    assert told["person"]["now"]["family_name"] == MARKER
    assert {"visit", "lesion", "limb", "measurement", "prescription"} <= set(told["records"])
    assert told["records"]["weight"]
    assert any(deed["verb"] == "weighed" for deed in told["done"])
    assert any(read["page"] == "person" for read in told["read"])
    assert AuditEvent.objects.filter(verb="exported", person_id=full.pk).count() == 1


def test_a_restricted_record_is_read_and_never_written(as_manager, as_staff, staff, full):
    as_manager.post(
        reverse("person_rights", args=[full.pk]),
        {"act": "restrict", "restrict-ground": "Accuracy contested, Art. 18"},
    )
    full.refresh_from_db()
    assert full.restricted_on
    assert as_staff.get(reverse("person", args=[full.pk])).status_code == 200
    with pytest.raises(Refused, match="restricted"), transaction.atomic():
        weight_add(by=staff, person=full, kg=83, measured_on=timezone.localdate(), how="scales")
    as_manager.post(reverse("person_rights", args=[full.pk]), {"act": "lift"})
    full.refresh_from_db()
    with transaction.atomic():
        weight_add(by=staff, person=full, kg=83, measured_on=timezone.localdate(), how="scales")


def glass_form(person, **more):
    return {
        "site": person.site_id,
        "record_number": person.record_number,
        "birth_date": "1960-05-17",
        "reason": "Came to our emergency room with fever.",
        **more,
    }


def test_breaking_the_glass_reads_one_record_for_an_hour_and_tells_the_other_clinic(
    as_podiatrist, podiatrist, other_site, monkeypatch
):
    person = factories.person(at=other_site)
    neighbour = factories.person(at=other_site)
    page = reverse("person", args=[person.pk])
    assert as_podiatrist.get(page).status_code == 404
    assert as_podiatrist.post(reverse("break_glass"), glass_form(person))["Location"] == page
    assert as_podiatrist.get(page).status_code == 200
    assert as_podiatrist.get(reverse("person", args=[neighbour.pk])).status_code == 404
    for name in ("person_edit", "weight_new"):  # reading only
        assert as_podiatrist.post(reverse(name, args=[person.pk]), {"kg": "80"}).status_code == 404
    glass = BreakGlass.objects.get()
    assert ViewEvent.objects.get(person_id=person.pk).glass_id == glass.pk
    event = AuditEvent.objects.get(verb="broke the glass")
    assert event.site_id == other_site.pk
    assert "emergency room" in event.detail
    watcher = Client()
    watcher.force_login(factories.user("manager", at=other_site))
    assert "(1 notice)" in watcher.get("/people/").content.decode()
    assert "emergency room" in watcher.get(reverse("settings")).content.decode()
    watcher.post(reverse("glass_noticed", args=[glass.pk]))
    assert "(1 notice)" not in watcher.get("/people/").content.decode()
    BreakGlass.objects.update(
        opened_at=timezone.now() - timedelta(minutes=61), until=timezone.now() - timedelta(minutes=1)
    )
    assert as_podiatrist.get(page).status_code == 404


def test_a_glass_is_of_its_breaker_only(as_podiatrist, site, other_site):
    person = factories.person(at=other_site)
    as_podiatrist.post(reverse("break_glass"), glass_form(person))
    colleague = Client()
    colleague.force_login(factories.user("podiatrist", at=site))
    session = colleague.session
    session["glass"] = [BreakGlass.objects.get().pk]
    session.save()
    assert colleague.get(reverse("person", args=[person.pk])).status_code == 404


@pytest.mark.parametrize(
    "wrong", [{"birth_date": "1961-05-17"}, {"record_number": "T99999"}, {"reason": "because"}]
)
def test_the_glass_needs_number_birth_date_and_a_reason(as_podiatrist, other_site, wrong):
    person = factories.person(at=other_site)
    assert as_podiatrist.post(reverse("break_glass"), glass_form(person, **wrong)).status_code == 422
    assert BreakGlass.objects.count() == 0


def test_a_glass_opens_nothing_that_belongs_to_a_clinic_and_to_no_person(as_manager, other_site):
    """A foam, a reason or a report whose number happens to be that of the person stays closed."""
    person = factories.person(at=other_site)
    as_manager.post(reverse("break_glass"), glass_form(person))
    assert as_manager.get(reverse("history", args=["person", person.pk])).status_code == 200
    foam = factories.site_foam(at=other_site)
    reason = factories.site_reason(at=other_site, pk=person.pk)
    SiteFoam.objects.filter(pk=foam.pk).update(id=person.pk)
    report = factories.saved_report(at=other_site, pk=person.pk)
    assert {reason.pk, report.pk} == {person.pk}
    for noun in ("sitefoam", "sitereason", "savedreport"):
        assert as_manager.get(reverse("history", args=[noun, person.pk])).status_code == 404, noun


def test_what_belongs_to_a_clinic_is_logged_as_no_persons_read_and_is_the_managers(
    as_manager, as_staff, site
):
    reason = factories.site_reason(at=site)
    factories.person(at=site, pk=reason.pk)
    page = reverse("history", args=["sitereason", reason.pk])
    assert "What changed: reason" in as_manager.get(page).content.decode()
    assert not ViewEvent.objects.exists()
    assert as_staff.get(page).status_code == 403


def test_looking_in_vain_is_told_to_ones_own_clinic(as_podiatrist, site, other_site):
    as_podiatrist.post(
        reverse("break_glass"), glass_form(factories.person(at=other_site), record_number="T9")
    )
    assert AuditEvent.objects.get(site_id=site.pk).verb.startswith("looked in vain for a record")
    assert not AuditEvent.objects.filter(site_id=other_site.pk).exists()


def test_what_changed_is_readable_on_the_record(as_staff, staff, person):
    with transaction.atomic():
        person_correct(by=staff, person=person, expected_version=1, family_name="Newname")
    page = as_staff.get(reverse("history", args=["person", person.pk])).content.decode()
    assert "Family name" in page
    assert "Newname" in page
    assert str(staff) in page
    assert (
        reverse("history", args=["person", person.pk])
        in as_staff.get(reverse("person", args=[person.pk])).content.decode()
    )
    assert as_staff.get(reverse("history", args=["user", staff.pk])).status_code == 404


def test_a_problem_keeps_page_and_version_and_no_text(as_staff, person):
    as_staff.post(
        reverse("problem_new"),
        {"kind": "wrong", "page": "lesion", "number": "abc123", "text": f"{person.family_name} is wrong"},
    )
    row = Problem.objects.get()
    assert (row.page, row.kind, row.program_version) == ("lesion", "wrong", "0.1.0")
    assert person.family_name not in repr(vars(row))
    bad = {"kind": "wrong", "page": f"/people/{person.pk}/?q=Ada"}
    assert as_staff.post(reverse("problem_new"), bad).status_code == 422


def test_only_nouns_of_a_person_are_copied_or_erased():
    from clinic.accounts.writes.erasure import nouns_of

    names = {model.__name__ for model, _ in nouns_of()}
    assert {"Lesion", "Visit", "Measurement", "Photo"} <= names
    # A reading round and a saved report belong to the site: erasing a person must not reach them by their
    # number.
    assert not {"PeerRound", "SavedReport", "SiteFoam", "SiteReason"} & names


def test_a_restricted_record_counts_in_no_figure(as_manager, full, site):
    today = timezone.localdate()
    asked = AuditFilter(sites=(site,), since=today - timedelta(days=400), until=today)
    courses = OutcomesFilter(sites=(site,), since=today - timedelta(days=400), until=today)

    def counted():
        rows = {key: base.rows(asked, today).count() for key, base in BASES.items()}
        return rows, outcomes_of(courses, today).total

    before, lesions = counted()
    assert before["prescription"] == 1
    assert lesions == 1
    Person.objects.filter(pk=full.pk).update(restricted_on=today, restricted_because="Art. 18")
    after, none = counted()
    assert set(after.values()) == {0}
    assert none == 0


def test_every_page_about_a_record_leads_to_what_changed_on_it(as_podiatrist, site):
    """Whatever route names a record: its page has the link, and the history opens."""
    row = records(site)
    nouns = {
        "person": "person",
        "lesion": "lesion",
        "limb_edit": "limb",
        "limb_decisions": "limb",
        "visit": "visit",
        "prescription": "prescription",
        "referral": "referral",
        "flag_answer": "redflag",
        "opening_card": "openingcard",
        "prescription_fit": "prescription",
        "look_answer": "look",
        "lesion_edit": "lesion",
        "bench": "limb",
    }
    for name, noun in nouns.items():
        page = as_podiatrist.get(address(name, row))
        link = re.search(r"/history/(\w+)/(\d+)/", page.content.decode())
        assert link, name
        assert link[1] == noun, name
        assert as_podiatrist.get(link[0]).status_code == 200, name
    assert (
        as_podiatrist.get(reverse("history", args=["limbplan", LimbPlan.objects.get().pk])).status_code == 200
    )


def test_a_corrected_area_is_readable_on_the_visit_and_on_the_lesion(as_staff, staff, site, person):
    lesion = factories.lesion(on=factories.limb(of=person))
    visit = factories.visit(of=person)
    area = factories.measurement(at=visit, of=lesion, length_mm=20, width_mm=10)
    with transaction.atomic():
        area.length_mm = 18
        store(area, by=staff, why="read off the wrong ruler")
        audit.record(by=staff, site=site, verb="corrected", target=visit, person=person, words="length 18 mm")
    for noun, pk in (("visit", visit.pk), ("lesion", lesion.pk)):
        page = as_staff.get(reverse("history", args=[noun, pk])).content.decode()
        assert f"measurement, ulcer {lesion.label} on" in page, noun
        assert "read off the wrong ruler" in page, noun
        assert re.search(r"Length.*?</th><td>20</td><td>18</td>", page, re.S), noun
    assert (
        "corrected a visit: words: length 18 mm"
        in as_staff.get(reverse("history", args=["visit", visit.pk])).content.decode()
    )


def test_the_history_asks_the_same_questions_whatever_was_changed(
    as_staff, staff, person, django_assert_max_num_queries
):
    lesion = factories.lesion(on=factories.limb(of=person))
    visit = factories.visit(of=person)
    page = reverse("history", args=["lesion", lesion.pk])
    factories.measurement(at=visit, of=lesion)
    with CaptureQueriesContext(connection) as few:
        as_staff.get(page)
    for n in range(8):
        factories.measurement(
            at=factories.visit(of=person, visited_on=timezone.localdate() - timedelta(days=n + 1)), of=lesion
        )
    with django_assert_max_num_queries(len(few)):
        as_staff.get(page)
