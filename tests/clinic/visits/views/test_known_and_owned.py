"""A foot whose blood supply cannot be restored, week by week through the pages: one alarm, then the strip."""

import re
import uuid
from contextlib import contextmanager
from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from clinic.alerts.forms.flags import NONE_NEW
from clinic.demo.clock import at
from clinic.models import DangerOwner, RedFlag
from clinic.week.reads.today import today_lists
from tests import factories

TODAY = timezone.localdate


@pytest.fixture
def lesion(person):
    return factories.lesion(on=factories.limb(of=person))


def week(client, lesion, day, **told):
    """One weekly visit by the page, with nothing new ticked; days differ by their paper date."""
    sent = {
        "submission_key": str(uuid.uuid4()),
        "visited_on": day.isoformat(),
        "red_flags": ["none"],
        "next_on": (day + timedelta(days=7)).isoformat(),
        f"lesion-{lesion.pk}-length_mm": "20",
        f"lesion-{lesion.pk}-width_mm": "10",
        f"lesion-{lesion.pk}-debridement": "before",
        f"lesion-{lesion.pk}-infection": ["none"],
        **told,
    }
    answer = client.post(f"/people/{lesion.limb.person_id}/visits/new/", sent)
    assert answer.status_code == 302, answer.content.decode()
    assert "login" not in answer["Location"]
    return answer


@contextmanager
def on(day, client, user):
    """Signed in on that day."""
    with at(day):
        client.force_login(user)
        yield


def question(client, lesion, key="severe_ischaemia"):
    page = client.get(f"/people/{lesion.limb.person_id}/visits/new/").content.decode()
    return re.search(rf'<label[^>]*>\s*<input[^>]*value="{key}"[^>]*>(.*?)</label>', page, re.DOTALL)[1]


def test_an_unreconstructable_foot_alarms_once_in_six_weeks(as_staff, staff, lesion):
    """Seven visits a week apart, each on its own day; the toe pressure is measured again each week."""
    start = TODAY() - timedelta(days=43)
    alarms = []
    for n in range(7):
        day = start + timedelta(days=7 * n)
        with on(day, as_staff, staff):
            factories.finding(of=lesion.limb, toe_pressure_mmhg=22 - n % 2, found_on=day)
            week(as_staff, lesion, day)
            for flag in RedFlag.objects.filter(answer=""):
                alarms.append((n, flag.flags))
                known = {
                    "version": flag.version,
                    "answer": "known",
                    "answer_note": "No bypass is possible; seen there.",
                    "under": "vascular team",
                    "until": (start + timedelta(days=45)).isoformat(),
                }
                assert as_staff.post(f"/flags/{flag.pk}/answer/", known).status_code == 302
    assert alarms == [(0, ["severe_ischaemia"])]
    assert DangerOwner.objects.count() == 1
    as_staff.force_login(staff)
    assert lesion.measurements.count() == 7
    words = re.sub(r"<[^>]+>", "", question(as_staff, lesion))
    assert "known: left foot, Ischaemia grade 3" in words
    assert "vascular team, next" in words
    assert today_lists(lesion.limb.person.site, TODAY()).morning.owners == ()
    past = today_lists(lesion.limb.person.site, start + timedelta(days=46)).morning.owners
    assert [row.person for row in past] == [lesion.limb.person]


def test_none_new_is_not_taken_silently_where_a_danger_stands_that_nobody_has(as_staff, lesion):
    factories.finding(of=lesion.limb, toe_pressure_mmhg=22)
    answer = week(as_staff, lesion, TODAY())
    flag = RedFlag.objects.get()
    assert flag.flags == ["severe_ischaemia"]
    assert answer["Location"] == f"/flags/{flag.pk}/answer/"
    assert "nobody has taken it" in question(as_staff, lesion)


def test_what_is_ticked_is_new_or_worse_and_alarms_whoever_has_it(as_staff, lesion):
    factories.finding(of=lesion.limb, toe_pressure_mmhg=22)
    factories.danger_owner(of=lesion.limb)
    week(as_staff, lesion, TODAY())
    assert not RedFlag.objects.exists()
    week_after = TODAY() - timedelta(days=1)
    week(as_staff, lesion, week_after, red_flags=["severe_ischaemia"])
    assert RedFlag.objects.get().flags == ["severe_ischaemia"]


def test_an_owned_infection_found_again_is_not_said_again_and_a_worse_one_is(as_staff, staff, lesion):
    head = f"lesion-{lesion.pk}"
    found = {
        f"{head}-infection": ["redness", "pus"],
        f"{head}-redness_mm": "30",
        f"{head}-unwell": "no",
        f"{head}-deep_infection": "no",
        f"{head}-probe_to_bone": "no",
    }
    days = [TODAY() - timedelta(days=n) for n in (3, 2, 1)]
    with on(days[0], as_staff, staff):
        week(as_staff, lesion, days[0], **found)
        first = RedFlag.objects.get()
        RedFlag.objects.update(answer="called", answered_at=timezone.now())
        factories.danger_owner(of=lesion.limb, danger="infection", level=3)
    with on(days[1], as_staff, staff):
        week(as_staff, lesion, days[1], **found)
    assert list(RedFlag.objects.all()) == [first]
    with on(days[2], as_staff, staff):
        week(as_staff, lesion, days[2], **found, temperature_c="39", pulse_per_min="120")
    worse = {key for flag in RedFlag.objects.exclude(pk=first.pk) for key in flag.flags}
    assert worse == {"infection_3_4_or_bone", "fever_or_unwell"}


def test_a_foot_with_nothing_new_takes_one_touch(as_staff, lesion):
    page = as_staff.get(f"/people/{lesion.limb.person_id}/visits/new/").content.decode()
    assert page.count(NONE_NEW) >= 1
    assert len(re.findall(r'name="red_flags" value="none"', page)) == 1


def test_the_page_of_a_foot_says_who_has_what_and_hands_it_on(as_staff, lesion):
    factories.finding(of=lesion.limb, toe_pressure_mmhg=22)
    address = f"/limbs/{lesion.limb_id}/dangers/"
    assert "nobody has taken it" in as_staff.get(address).content.decode()
    until = (TODAY() + timedelta(days=9)).isoformat()
    told = {"danger": "ischaemia", "team": "vascular team", "next_on": until, "note": "no bypass"}
    assert as_staff.post(address, told).status_code == 302
    assert "vascular team, next" in as_staff.get(address).content.decode()
    as_staff.post(address, {**told, "team": "city hospital"})
    page = as_staff.get(address).content.decode()
    assert "vascular team, from" in page
    assert "city hospital, next" in page


def test_a_bad_date_is_named_and_nothing_typed_is_lost(as_staff, lesion):
    factories.finding(of=lesion.limb, toe_pressure_mmhg=22)
    told = {"danger": "ischaemia", "team": "vascular team", "next_on": "2020-01-01", "note": "no bypass"}
    page = as_staff.post(f"/limbs/{lesion.limb_id}/dangers/", told)
    assert page.status_code == 422
    assert 'value="vascular team"' in page.content.decode()
    assert "1 Jan 2020 is past" in page.content.decode()


def test_a_manager_reads_who_has_it_and_gives_it_to_nobody(as_manager, lesion):
    factories.finding(of=lesion.limb, toe_pressure_mmhg=22)
    address = f"/limbs/{lesion.limb_id}/dangers/"
    assert "Record who has it" not in as_manager.get(address).content.decode()
    assert as_manager.post(address, {"danger": "ischaemia"}).status_code == 403


def test_queries_of_the_visit_page_do_not_grow_with_dangers(as_staff, lesion):
    address = f"/people/{lesion.limb.person_id}/visits/new/"
    as_staff.get(address)

    def count():
        with CaptureQueriesContext(connection) as asked:
            as_staff.get(address)
        return len(asked)

    few = count()
    for n in range(5):
        factories.finding(of=lesion.limb, toe_pressure_mmhg=22 - n)
        factories.danger_owner(of=lesion.limb)
    assert count() == few
