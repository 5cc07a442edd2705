"""A test, a course and a review stand on every page that must show them until they are settled."""

import json
from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from clinic.accounts.writes.erasure import person_export
from clinic.curves.reads.healing import healing_of
from clinic.guidelines.due import course_standing, result_standing
from clinic.models import RESULT_CHOICES
from clinic.record.reads.person_rows import nouns_of
from clinic.week.reads.digest import digest_of
from clinic.week.reads.preparation import expected_on
from clinic.week.reads.today import today_lists
from tests import factories, factories_care

pytestmark = pytest.mark.django_db
COMPARED = "the pages are asked of a second one in tests/test_access.py; here they are compared"

TODAY = timezone.localdate
AROUND = (-20, -2, -1, 0, 1, 9)


def days(n):
    return TODAY() + timedelta(days=n)


@pytest.fixture
def lesion(person):
    found = factories.lesion(on=factories.limb(of=person))
    factories.visit(of=person, on=days(-7), next_on=TODAY())
    return found


def morning(site, day=None):
    return today_lists(site, day or TODAY()).morning


@pytest.mark.any_database(COMPARED)
@pytest.mark.parametrize("ahead", AROUND)
@pytest.mark.parametrize("come", ["waiting", "arrived", "seen", "withdrawn"])
def test_a_result_stands_on_today_and_the_preparation_sheet_as_the_one_rule_says(site, lesion, ahead, come):
    arrived = {"result_on": TODAY(), "value": 12, "reading": "normal"}
    author = factories.author()
    fields = {
        "waiting": {},
        "arrived": arrived,
        "seen": {**arrived, "seen_on": TODAY(), "seen_by": author},
        "withdrawn": {"withdrawn_on": TODAY(), "withdrawn_because": "test"},
    }[come]
    result = factories_care.result(
        of=lesion.limb.person,
        lesion=lesion,
        limb=lesion.limb,
        requested_on=days(-30),
        due_on=days(ahead),
        **fields,
    )
    standing = result_standing(result.due_on, result.result_on, result.seen_on, TODAY())
    asks = standing in ("due", "late", "arrived") and come != "withdrawn"
    rows = morning(site).results
    assert len(rows) == asks
    (expected,) = expected_on(site, TODAY(), timezone.now())
    assert any("CRP" in words for words in expected.due) == asks
    assert any("result" in line.words for line in digest_of(site, TODAY(), timezone.now())) == asks
    if asks:
        assert str(author) in rows[0].words
        assert rows[0].asks[0].pk == result.pk


@pytest.mark.any_database(COMPARED)
@pytest.mark.parametrize("ahead", AROUND)
@pytest.mark.parametrize("stopped", [False, True])
def test_a_course_stands_on_today_from_its_planned_end_until_it_is_stopped(site, lesion, ahead, stopped):
    fields = {"stopped_on": TODAY(), "stop_reason": "completed"} if stopped else {}
    course = factories_care.antibiotic(of=lesion, started_on=days(-30), planned_end_on=days(ahead), **fields)
    asks = course_standing(course.planned_end_on, course.stopped_on, TODAY()) in ("ends", "past_end")
    assert asks == (not stopped and ahead <= 0)
    assert len(morning(site).antibiotics) == asks
    (expected,) = expected_on(site, TODAY(), timezone.now())
    assert any(course.drug in words for words in expected.due) == asks


def test_pages_of_person_and_ulcer_show_both_with_their_links(as_staff, lesion):
    result = factories_care.result(of=lesion.limb.person, lesion=lesion, limb=lesion.limb, kind="xray")
    course = factories_care.antibiotic(of=lesion)
    for path in (f"/people/{lesion.limb.person_id}/", f"/lesions/{lesion.pk}/"):
        page = as_staff.get(path).content.decode()
        assert f"/results/{result.pk}/" in page
        assert f"/antibiotics/{course.pk}/" in page
        assert "X-ray" in page


@pytest.mark.any_database(COMPARED)
@pytest.mark.parametrize("kind", [kind for kind, _ in RESULT_CHOICES])
@pytest.mark.parametrize("of", ["lesion", "limb", "person", "other foot"])
def test_an_arrived_result_marks_the_curves_it_is_about(lesion, kind, of):
    other = factories.limb(of=lesion.limb.person, side="right")
    about = {
        "lesion": {"lesion": lesion, "limb": lesion.limb},
        "limb": {"limb": lesion.limb},
        "person": {},
        "other foot": {"limb": other},
    }[of]
    factories_care.result(of=lesion.limb.person, kind=kind, **about)
    assert not [mark for mark in healing_of(lesion).marks if mark.kind == "result"]
    factories_care.result(
        of=lesion.limb.person, kind=kind, result_on=TODAY(), words="seen", reading="abnormal", **about
    )
    marks = [mark for mark in healing_of(lesion).marks if mark.kind == "result"]
    assert len(marks) == (of != "other foot")
    assert all("abnormal" in mark.words and mark.day == TODAY() for mark in marks)


def test_a_course_marks_its_curve_at_both_ends_and_one_in_error_does_not(lesion):
    factories_care.antibiotic(of=lesion, drug="x" * 80, stopped_on=TODAY(), stop_reason="completed")
    factories_care.antibiotic(of=lesion, stopped_on=TODAY(), stop_reason="in_error")
    marks = [mark for mark in healing_of(lesion).marks if mark.kind == "antibiotic"]
    assert [mark.day for mark in marks] == [days(-7), TODAY()]
    assert all(len(mark.words) <= 48 for mark in marks)


def test_the_chart_draws_with_these_marks(as_staff, lesion):
    factories.measurement(at=lesion.limb.person.visits.get(), of=lesion)
    factories_care.antibiotic(of=lesion, drug="y" * 80)
    factories_care.result(of=lesion.limb.person, kind="kidney", result_on=TODAY(), value=40, reading="normal")
    assert as_staff.get(f"/lesions/{lesion.pk}/chart.svg").status_code == 200


def test_the_copy_of_a_persons_data_holds_every_new_noun_with_its_history(lesion, manager):
    person = lesion.limb.person
    factories_care.result(of=person)
    factories_care.antibiotic(of=lesion)
    factories_care.bone(of=lesion)
    factories_care.non_healing(of=lesion)
    nouns = {"result", "antibioticcourse", "bonejudgement", "nonhealingreview", "nonhealingitem"}
    assert nouns <= {model._meta.model_name for model, _ in nouns_of()}
    copied = json.loads(person_export(by=manager, person=person))["records"]
    for noun in nouns:
        assert copied[noun], noun
        assert copied[noun][0]["copies"], noun


def test_what_changed_on_each_is_readable(as_podiatrist, lesion):
    review = factories_care.non_healing(of=lesion)
    for noun, row in (
        ("result", factories_care.result(of=lesion.limb.person)),
        ("antibioticcourse", factories_care.antibiotic(of=lesion)),
        ("bonejudgement", factories_care.bone(of=lesion)),
        ("nonhealingreview", review),
        ("nonhealingitem", review.items.first()),
    ):
        assert as_podiatrist.get(f"/history/{noun}/{row.pk}/").status_code == 200, noun


def fill(site):
    """A person with everything that waits."""
    lesion = factories.lesion(on=factories.limb(of=factories.person(at=site)))
    factories.series(lesion, [3.0] * 6)
    more(lesion)
    return lesion


def more(lesion):
    factories_care.result(of=lesion.limb.person, lesion=lesion, limb=lesion.limb)
    factories_care.result(of=lesion.limb.person, result_on=TODAY(), value=3, reading="normal")
    factories_care.antibiotic(of=lesion)
    factories_care.bone(of=lesion)
    factories_care.non_healing(of=lesion, opened_on=days(-30), due={"smoking": TODAY()})


def queries(client, path):
    with CaptureQueriesContext(connection) as caught:
        assert client.get(path).status_code == 200
    return len(caught)


@pytest.mark.parametrize("path", ["/today/", "/review/", "/today/preparation/"])
def test_queries_of_the_lists_do_not_grow_with_what_waits(as_podiatrist, site, path):
    fill(site)
    as_podiatrist.get(path)
    few = queries(as_podiatrist, path)
    for _ in range(3):
        more(fill(site))
    assert queries(as_podiatrist, path) == few


@pytest.mark.parametrize("path", ["/lesions/{lesion}/", "/people/{person}/", "/limbs/{limb}/prescribe/"])
def test_queries_of_a_page_do_not_grow_with_its_rows(as_podiatrist, site, path):
    lesion = fill(site)
    where = path.format(lesion=lesion.pk, person=lesion.limb.person_id, limb=lesion.limb_id)
    as_podiatrist.get(where)
    few = queries(as_podiatrist, where)
    for _ in range(3):
        more(lesion)
    assert queries(as_podiatrist, where) == few
