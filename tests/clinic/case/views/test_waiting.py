"""What an ulcer and a person wait for: loudest first, with where it is done, for who may do it."""

import re
from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from clinic.case.reads.lesions_page import lesion_page
from clinic.case.reads.person_page import person_page
from clinic.evidence.reads.standing import standing_of
from clinic.models import Look, RedFlag, Referral, Result
from tests import factories, factories_care

TODAY = timezone.localdate


@pytest.fixture
def lesion(person):
    return factories.lesion(on=factories.limb(of=person))


def sealed(lesion, open_by):
    return factories.prescription(
        of=lesion.limb,
        lesions=[lesion],
        device_class="total_contact_cast",
        fitted_on=open_by - timedelta(days=7),
        sealed_on=open_by - timedelta(days=7),
        open_by=open_by,
    )


def waits(lesion):
    return lesion_page(lesion, standing_of(lesion.limb, TODAY())).waits


def main_action(page):
    """The one main action of a page's title, and how many there are."""
    head = page[page.index('<div class="title">') : page.index('class="lesion-first')]
    found = re.findall(r'<a\s+class="button main"\s+href="([^"]+)"', head)
    return found[0] if found else "", len(found)


def test_a_device_past_its_day_stands_first_and_is_the_one_main_action(as_podiatrist, lesion):
    factories.series(lesion, [3.0, 2.6, 2.2])
    device = sealed(lesion, TODAY() - timedelta(days=2))
    first = waits(lesion)[0]
    assert (first.is_stop, first.url_name, first.pk) == (True, "prescription_open", device.pk)
    assert "2 days ago" in first.words
    page = as_podiatrist.get(f"/lesions/{lesion.pk}/").content.decode()
    assert main_action(page) == (f"/prescriptions/{device.pk}/open/", 1)
    assert f'href="/people/{lesion.limb.person_id}/visits/new/">Log visit' in page


@pytest.mark.parametrize("days", [0, -1])
def test_a_device_up_to_its_day_is_not_waited_for(lesion, days):
    sealed(lesion, TODAY() - timedelta(days=days))
    assert not [one for one in waits(lesion) if one.is_stop]


def test_where_nothing_waits_the_page_says_so_and_the_visit_is_the_main_action(as_staff, lesion):
    factories.visit(of=lesion.limb.person, on=TODAY(), next_on=TODAY() + timedelta(days=7))
    page = as_staff.get(f"/lesions/{lesion.pk}/").content.decode()
    assert "Nothing. This ulcer is seen again on its next date." in page
    assert main_action(page) == (f"/people/{lesion.limb.person_id}/visits/new/", 1)


def test_all_that_waits_stands_on_both_pages_outside_the_folds(as_podiatrist, podiatrist, staff, lesion):
    person, day = lesion.limb.person, TODAY()
    factories.visit(of=person, on=day - timedelta(days=9), next_on=day - timedelta(days=2))
    flag = RedFlag.objects.create(
        person=person, flags=["spreading_redness"], raised_at=timezone.now(), created_by=staff
    )
    Look.objects.create(lesion=lesion, question="Wait a week?", asked_at=timezone.now(), created_by=staff)
    Result.objects.create(
        person=person,
        lesion=lesion,
        kind="crp",
        requested_on=day - timedelta(days=9),
        due_on=day - timedelta(days=1),
        owner=staff,
        created_by=staff,
    )
    factories_care.antibiotic(of=lesion, planned_end_on=day - timedelta(days=1))
    sealed(lesion, day - timedelta(days=1))
    for path in (f"/lesions/{lesion.pk}/", f"/people/{person.pk}/"):
        page = as_podiatrist.get(path).content.decode()
        shown = re.sub(r'<details class="fold".*?</details>', "", page, flags=re.DOTALL)
        for words in ("open the device now", "answer it", "chase the result", "stop or prolong it"):
            assert re.search(rf">\s*{words}\s*</a>", shown, re.I), f"{path}: {words}"
        assert re.search(r"Visit of .* is 2 days overdue", shown)
        assert re.search(r"Red flag, unanswered since", shown)
        assert f"/flags/{flag.pk}/answer/" in shown


def test_a_manager_reads_what_waits_and_is_offered_only_what_a_manager_may_do(as_manager, lesion):
    sealed(lesion, TODAY() - timedelta(days=1))
    page = as_manager.get(f"/lesions/{lesion.pk}/").content.decode()
    assert "was to be opened by" in page
    assert "Open the device now" not in page


def test_a_late_referral_is_a_stop_on_the_persons_page_until_it_is_reached(lesion, staff):
    person = lesion.limb.person
    row = Referral.objects.create(
        person=person,
        to="vascular",
        urgency="immediate",
        made_at=timezone.now() - timedelta(days=10),
        created_by=staff,
    )

    def of_referrals():
        return [one for one in person_page(person, today=TODAY()).waits if one.url_name == "referral"]

    [late] = of_referrals()
    assert late.is_stop
    assert "not reached yet" in late.words
    Referral.objects.filter(pk=row.pk).update(reached_at=timezone.now())
    [reached] = of_referrals()
    assert not reached.is_stop
    Referral.objects.filter(pk=row.pk).update(cancelled_because="Not wanted.")
    assert not of_referrals()


def test_the_status_of_a_foot_tells_each_ulcer_and_what_waits_on_one_page(as_staff, lesion):
    factories.series(lesion, [3.0, 2.9, 2.9, 2.9])
    sealed(lesion, TODAY() - timedelta(days=1))

    def asked():
        with CaptureQueriesContext(connection) as queries:
            answer = as_staff.get(f"/limbs/{lesion.limb_id}/status/")
        assert answer.status_code == 200
        return answer.content.decode(), len(queries)

    page, few = asked()
    assert "was to be opened by" in page
    assert "2.90 cm²" in page
    second = factories.lesion(on=lesion.limb, place="mth_5", label="B")
    factories.series(second, [1.0, 0.9], last=TODAY() - timedelta(days=1))
    page, more = asked()
    assert "Ulcer B" in page
    assert more <= few + 1


@pytest.mark.parametrize("state", ["moved", "died", "lost"])
def test_no_page_of_somebody_who_left_tells_of_a_next_visit(as_podiatrist, lesion, state):
    person, next_on = lesion.limb.person, TODAY() + timedelta(days=7)
    factories.visit(of=person, on=TODAY(), next_on=next_on)
    pages = (f"/people/{person.pk}/", f"/lesions/{lesion.pk}/", f"/limbs/{lesion.limb_id}/status/")
    said = f"{next_on:%-d %b %Y}"
    assert all(said in as_podiatrist.get(path).content.decode() for path in pages)
    person.state, person.state_on = state, TODAY()
    person.save()
    for path in pages:
        page = as_podiatrist.get(path).content.decode()
        main = page[page.index("<main") :]
        assert "seen again" not in main, path
        assert "not in care" in main.lower(), path
        assert f">{said}</strong>" not in main, path
