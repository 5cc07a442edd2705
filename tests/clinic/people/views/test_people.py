"""The people pages: list, person, registering and correcting."""

import re
from datetime import date, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from clinic.models import AuditEvent, Contact, Event, Person
from tests import factories

NEW = {
    "record_number": "N001",
    "given_name": "Orla",
    "family_name": "Inventova",
    "birth_date": "1955-03-09",
    "diabetes_type": "type_2",
}
OF_A_PERSON = ["person_edit", "person_state", "weight_new", "circumstances_new", "lesion_new"]


def days_ago(n):
    return timezone.localdate() - timedelta(days=n)


def text(response):
    return response.content.decode()


@pytest.fixture
def with_feet(person):
    factories.limb(of=person)
    factories.limb(of=person, side="right")
    return person


@pytest.mark.parametrize("name", ["person", *OF_A_PERSON])
def test_a_person_of_another_clinic_is_not_there(as_podiatrist, other_site, name):
    stranger = factories.person(at=other_site)
    assert as_podiatrist.get(reverse(name, args=[stranger.pk])).status_code == 404


@pytest.mark.parametrize("name", OF_A_PERSON)
def test_a_manager_reads_but_does_not_write(as_manager, with_feet, name):
    assert as_manager.get(reverse("person", args=[with_feet.pk])).status_code == 200
    assert as_manager.get(reverse(name, args=[with_feet.pk])).status_code == 403
    assert as_manager.post(reverse(name, args=[with_feet.pk])).status_code == 403
    assert as_manager.get(reverse("person_new")).status_code == 403
    assert not AuditEvent.objects.exists()


def test_the_manager_sees_no_link_to_what_is_refused(as_manager, with_feet):
    page = text(as_manager.get(reverse("person", args=[with_feet.pk])))
    for name in OF_A_PERSON:
        assert reverse(name, args=[with_feet.pk]) not in page
    assert reverse("visit_new", args=[with_feet.pk]) not in page


def test_the_list_finds_by_name_and_answers_htmx_with_the_rows_only(as_staff, site):
    factories.person(at=site, family_name="Inventova")
    factories.person(at=site, family_name="Fictive")
    whole = text(as_staff.post(reverse("people"), {"q": "inven"}, follow=True))
    part = text(as_staff.post(reverse("people"), {"q": "inven"}, headers={"HX-Request": "true"}))
    for page in (whole, part):
        assert "Inventova" in page
        assert "Fictive" not in page
    assert "<h1>" in whole
    assert "<h1>" not in part


def test_the_list_shows_one_clinic_at_a_time(as_staff, staff, site, other_site):
    staff.sites.add(other_site)
    factories.person(at=site, family_name="Inventova")
    factories.person(at=other_site, family_name="Fictive")
    assert "Fictive" not in text(as_staff.get(reverse("people")))
    there = text(as_staff.get(reverse("people"), {"site": other_site.pk}))
    assert "Fictive" in there
    assert "Inventova" not in there


def test_a_clinic_one_does_not_work_at_is_not_there(as_staff, other_site):
    assert as_staff.get(reverse("people"), {"site": other_site.pk}).status_code == 404


def test_fifty_people_make_a_page(as_staff, site):
    for _ in range(51):
        factories.person(at=site)
    first = text(as_staff.get(reverse("people")))
    assert first.count('<th scope="row">') == 50
    place = re.search(r'rel="next" href="([^"]*)"', first)[1].replace("&amp;", "&")
    second = text(as_staff.get(f"{reverse('people')}{place}"))
    assert second.count('<th scope="row">') == 1
    back = re.search(r'rel="prev" href="([^"]*)"', second)[1].replace("&amp;", "&")
    assert people_of(text(as_staff.get(f"{reverse('people')}{back}"))) == people_of(first)
    assert people_of(second).isdisjoint(people_of(first))


def people_of(page):
    return set(re.findall(r'<th scope="row"><a href="([^"]*)"', page))


def test_the_queries_of_the_list_page_do_not_grow(as_staff, site):
    as_staff.get(reverse("people"))  # the first request of a session also touches it
    counts = []
    for more in (3, 12):
        for _ in range(more):
            factories.lesion(on=factories.limb(of=factories.person(at=site)))
        with CaptureQueriesContext(connection) as queries:
            as_staff.get(reverse("people"))
        counts.append(len(queries))
    assert counts[0] == counts[1]


def test_the_queries_of_the_person_page_do_not_grow(as_podiatrist, with_feet):
    limb = with_feet.limbs.get(side="left")
    lesion = factories.lesion(on=limb)
    by = factories.author()
    as_podiatrist.get(reverse("people"))  # the first request of a session also touches it
    counts, done = [], 0
    for more in (3, 12):
        for n in range(done, done + more):
            visit = factories.visit(of=with_feet, on=days_ago(n))
            factories.measurement(at=visit, of=lesion)
            factories.weight(of=with_feet, on=days_ago(n))
            factories.finding(of=limb, found_on=days_ago(n), charcot="none")
            factories.red_flag(of=with_feet)
            Event.objects.create(
                limb=limb, lesion=lesion, kind="fall", happened_on=days_ago(n), created_by=by
            )
            Contact.objects.create(
                person=with_feet, tried_at=timezone.now(), how="letter", result="message", created_by=by
            )
            factories.prescription(of=limb, stopped_on=days_ago(n), stop_reason="broken")
            factories.lesion(on=limb, label=f"Z{n}") if n < 9 else None
        done += more
        with CaptureQueriesContext(connection) as queries:
            response = as_podiatrist.get(reverse("person", args=[with_feet.pk]), {"timeline": "all"})
        assert response.status_code == 200
        counts.append(len(queries))
    assert counts[0] == counts[1]


def test_each_mark_of_the_map_links_to_its_lesion_and_stands_in_the_list(as_staff, with_feet):
    lesion = factories.lesion(on=with_feet.limbs.get(side="left"), place="heel_central")
    page = text(as_staff.get(reverse("person", args=[with_feet.pk])))
    link = f'href="{reverse("lesion", args=[lesion.pk])}"'
    assert page.count(link) == 2
    assert "under the heel, centre, left foot" in page


def test_a_podiatrist_prescribes_and_cuts_per_limb_and_staff_do_not(as_staff, as_podiatrist, with_feet):
    limb = with_feet.limbs.get(side="left")
    factories.lesion(on=limb)
    links = [reverse("prescription_new", args=[limb.pk]), reverse("bench", args=[limb.pk])]
    url = reverse("person", args=[with_feet.pk])
    for link in links:
        assert link in text(as_podiatrist.get(url))
        assert link not in text(as_staff.get(url))


def test_a_sealed_device_past_its_day_is_said(as_staff, with_feet):
    factories.prescription(
        of=with_feet.limbs.get(side="left"),
        device_class="total_contact_cast",
        sealed_on=days_ago(9),
        open_by=days_ago(2),
    )
    assert "overdue:" in text(as_staff.get(reverse("person", args=[with_feet.pk])))


def test_the_timeline_is_cut_and_shown_whole_on_request(as_staff, with_feet):
    for n in range(20):
        factories.visit(of=with_feet, on=days_ago(n))
    url = reverse("person", args=[with_feet.pk])
    assert text(as_staff.get(url)).count("<strong>Visit</strong>") == 15
    assert "Show all" in text(as_staff.get(url))
    assert text(as_staff.get(url, {"timeline": "all"})).count("<strong>Visit</strong>") == 20


def test_the_page_of_someone_who_moved_offers_no_new_visit(as_staff, with_feet):
    with_feet.state, with_feet.state_on = "moved", days_ago(3)
    with_feet.save()
    page = text(as_staff.get(reverse("person", args=[with_feet.pk])))
    assert reverse("visit_new", args=[with_feet.pk]) not in page
    assert "Moved away" in page


def test_a_registered_person_opens_with_both_feet(as_staff, site):
    response = as_staff.post(reverse("person_new"), {**NEW, "site": site.pk, "kg": "82", "how": "scales"})
    made = Person.objects.get()
    assert response.headers["Location"] == reverse("person", args=[made.pk])
    assert made.limbs.count() == 2
    assert made.weights.get().measured_on == timezone.localdate()
    assert AuditEvent.objects.count() == 1


def test_a_person_cannot_be_registered_at_a_clinic_one_does_not_work_at(as_staff, other_site):
    response = as_staff.post(reverse("person_new"), {**NEW, "site": other_site.pk})
    assert response.status_code == 422
    assert not Person.objects.exists()


def test_a_fault_keeps_all_typed_text(as_staff, site):
    given = {**NEW, "site": site.pk, "birth_date": "", "telephone": "000 12345", "kg": "999", "how": "scales"}
    response = as_staff.post(reverse("person_new"), given)
    assert response.status_code == 422
    page = text(response)
    assert 'value="000 12345"' in page
    assert "Weight was given as 999 kg; it must be between 20 and 300 kg." in page


def test_a_likely_duplicate_is_shown_and_registered_only_knowingly(as_staff, site):
    factories.person(at=site, family_name="Inventova", given_name="Orla", birth_date=date(1955, 3, 9))
    response = as_staff.post(reverse("person_new"), {**NEW, "site": site.pk})
    assert response.status_code == 422
    assert "Registered already?" in text(response)
    assert 'type="checkbox" name="another_person"' in text(response)
    assert (
        as_staff.post(reverse("person_new"), {**NEW, "site": site.pk, "another_person": "on"}).status_code
        == 302
    )
    assert Person.objects.count() == 2


def test_a_conflict_shows_both_values_and_the_next_press_saves(as_staff, with_feet):
    url = reverse("person_edit", args=[with_feet.pk])
    given = {
        "record_number": with_feet.record_number,
        "given_name": "Ada",
        "family_name": with_feet.family_name,
        "birth_date": "1960-05-17",
        "diabetes_type": "type_2",
        "telephone": "000 222",
        "version": 1,
    }
    Person.objects.filter(pk=with_feet.pk).update(telephone="000 111", version=2)
    response = as_staff.post(url, given)
    page = text(response)
    assert response.status_code == 422
    assert "000 111" in page
    assert 'value="000 222"' in page
    assert '<input type="hidden" name="version" value="2"' in page
    assert as_staff.post(url, {**given, "version": 2}).status_code == 302
    with_feet.refresh_from_db()
    assert (with_feet.telephone, with_feet.version) == ("000 222", 3)


def test_someone_who_moved_with_a_device_on_is_warned_about(as_staff, with_feet):
    factories.prescription(of=with_feet.limbs.get(side="left"))
    response = as_staff.post(
        reverse("person_state", args=[with_feet.pk]),
        {"state": "moved", "state_on": days_ago(1).isoformat(), "version": 1},
        follow=True,
    )
    assert "Still on record as worn: Removable knee-high walker, left foot" in text(response)


def test_a_refused_state_keeps_the_header_true(as_staff, with_feet):
    response = as_staff.post(
        reverse("person_state", args=[with_feet.pk]), {"state": "died", "state_on": "", "version": 1}
    )
    assert response.status_code == 422
    with_feet.refresh_from_db()
    assert with_feet.state == "in_care"


def test_a_weight_is_recorded(as_staff, with_feet):
    given = {"kg": "84.5", "how": "told", "measured_on": timezone.localdate().isoformat()}
    assert as_staff.post(reverse("weight_new", args=[with_feet.pk]), given).status_code == 302
    assert with_feet.weights.get().how == "told"


def test_the_last_answers_stand_beside_empty_fields(as_staff, with_feet):
    url = reverse("circumstances_new", args=[with_feet.pk])
    given = {"asked_on": days_ago(3).isoformat(), "high_falls_risk": "yes", "falls_note": "two falls"}
    assert as_staff.post(url, given).status_code == 302
    page = text(as_staff.get(url))
    assert "Last: Yes, two falls" in page
    assert 'value="yes" class' not in page
    assert 'value="yes" id="id_high_falls_risk_1" checked' not in page
