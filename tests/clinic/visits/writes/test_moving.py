"""A visit moved to the person it belongs to: there it counts as logged there, here nothing of it is read."""

from __future__ import annotations

import re
from datetime import timedelta
from decimal import Decimal

import pytest
from django.urls import reverse
from django.utils import timezone

from clinic.accounts.writes.verification import verify
from clinic.capture.writes.photos import consent_give
from clinic.models import Measurement, Photo, PlanFlag, RedFlag, Visit, Weight
from clinic.record.errors import Refused
from clinic.visits.writes.moving import visit_move
from tests import factories
from tests.clinic.visits.writes.test_taking_back import (
    _own_store,
    apart,
    difference,
    log,
    picture,
    read,
    scene,
)

__all__ = ["_own_store", "scene"]

TODAY = timezone.localdate
HEALED = {"state": "healed", "outcome": "healed", "closed_on": TODAY(), "confirmed_on": TODAY()}
LEFT = {"weight", "photo", "opened", "grown", "ticked", "watch"}


@pytest.fixture
def right(site, staff):
    """The person who was really seen, with one open lesion and a course."""
    who = factories.person(at=site, given_name="Right", family_name="Person")
    lesion = factories.lesion(on=factories.limb(of=who))
    factories.series(lesion, [5.0, 4.8], last=TODAY() - timedelta(days=7))
    consent_give(by=staff, person=who, given_on=TODAY() - timedelta(days=3))
    return who, lesion


def move(by, scene, visit, right, **more):
    who, lesion = right
    told = {
        "lesions": {scene["lesion"].pk: lesion},
        "next_on": visit.next_on,
        "reason": "two charts open",
        "expected_version": visit.version,
        "take": [one for one in apart(visit) if one != "next"],
        **more,
    }
    return visit_move(by=by, visit=visit, person=who, **told)


def test_a_moved_visit_is_read_at_the_right_person_only(staff, podiatrist, scene, right, as_podiatrist):
    before = read(as_podiatrist, scene)
    for name in ("/today/", "/review/", "/people/", "/today/preparation/"):
        before.pop(name)
    visit = Visit.objects.get(pk=log(staff, scene, LEFT).pk)
    made = visit.history.count()
    moved = move(podiatrist, scene, visit, right)
    after = read(as_podiatrist, scene)
    for name in ("/today/", "/review/", "/people/", "/today/preparation/"):
        after.pop(name)
    before.pop("open"), after.pop("open")
    assert difference(before, after) == []
    who, lesion = right
    assert (moved.person, moved.created_by, moved.history.count()) == (who, staff, made + 1)
    row = Measurement.objects.get(visit=moved)
    assert (row.lesion, row.created_by, row.length_mm) == (lesion, staff, Decimal("80.0"))
    assert [str(one.kg) for one in who.weights.standing()] == ["131.5"]
    assert Photo.objects.get().lesion == lesion
    assert RedFlag.objects.standing().get(flags=["cold_pale_blue_foot"]).person == who
    assert not PlanFlag.objects.standing().exists()
    assert not Weight.objects.filter(person=scene["person"], kg="131.5").exists()


def test_the_wrong_record_says_only_that_a_visit_was_moved(staff, scene, right, as_podiatrist):
    visit = Visit.objects.get(pk=log(staff, scene, LEFT).pk)
    Visit.objects.filter(pk=visit.pk).update(note="a word nobody else uses")
    move(staff, scene, visit, right)
    stub = scene["person"].visits.get(state="in_error")
    urls = [
        reverse("visit", args=[stub.pk]),
        reverse("person", args=[scene["person"].pk]),
        reverse("lesion", args=[scene["lesion"].pk]),
        reverse("history", args=["visit", stub.pk]),
        reverse("history", args=["person", scene["person"].pk]),
        reverse("history", args=["lesion", scene["lesion"].pk]),
    ]
    for url in urls:
        page = re.search(r"<main.*</main>", as_podiatrist.get(url).content.decode(), re.S)[0]
        for mark in ("131.5", "a word nobody else uses", "25.1", "Right Person", "80.0"):
            assert mark not in page, (url, mark)
    assert "moved to that record" in as_podiatrist.get(urls[0]).content.decode()


def test_after_a_move_the_chain_and_the_history_agree(staff, scene, right):
    before = {str(one) for one in verify()}  # rows that the scene made past the writes
    visit = Visit.objects.get(pk=log(staff, scene, LEFT).pk)
    move(staff, scene, visit, right)
    assert {str(one) for one in verify()} - before == set()


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (lambda s, r: factories.visit(of=r[0]), "recorded already"),
        (lambda s, r: r[0].photo_consents.update(withdrawn_on=TODAY()), "consent"),
        (lambda s, r: type(r[1]).objects.filter(pk=r[1].pk).update(**HEALED), "not an open one"),
        (
            lambda s, r: type(r[0]).objects.filter(pk=r[0].pk).update(state="died", state_on=TODAY()),
            "in care",
        ),
    ],
)
def test_a_move_that_would_make_a_false_record_is_refused_and_moves_nothing(
    spoil, words, staff, scene, right
):
    visit = Visit.objects.get(pk=log(staff, scene, {"photo", "weight"}).pk)
    spoil(scene, right)
    with pytest.raises(Refused, match=words):
        move(staff, scene, visit, right)
    visit.refresh_from_db()
    assert visit.person == scene["person"]
    assert scene["person"].visits.filter(state="in_error").count() == 0


def test_each_lesion_of_the_visit_is_given_one_of_the_right_person(staff, scene, right):
    visit = Visit.objects.get(pk=log(staff, scene, set()).pk)
    with pytest.raises(Refused, match="say which one"):
        move(staff, scene, visit, right, lesions={})
    factories.lesion(on=right[1].limb)
    assert move(staff, scene, visit, right).unfinished  # the other open lesion was not looked at


def test_the_pages_lead_from_the_number_to_the_moved_visit(staff, scene, right, as_staff):
    visit = Visit.objects.get(pk=log(staff, scene, {"photo"}).pk)
    ask = reverse("visit_move_to", args=[visit.pk])
    assert as_staff.post(ask, {"record_number": "none such"}).status_code == 422
    page = as_staff.post(ask, {"record_number": right[0].record_number}, follow=True)
    assert "Right Person, born" in page.content.decode()
    url = reverse("visit_move", args=[visit.pk, right[0].pk])
    sent = {"version": visit.version, "reason": "two charts", "next_on": visit.next_on.isoformat()}
    assert as_staff.post(url, sent).status_code == 422
    sent[f"lesion-{scene['lesion'].pk}"] = right[1].pk
    assert as_staff.post(url, sent).status_code == 302
    visit.refresh_from_db()
    assert visit.person == right[0]
    assert picture()
