from datetime import timedelta
from types import SimpleNamespace

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from clinic.visits.reads import change_words, visit_page, visit_sheet
from tests import factories

pytestmark = pytest.mark.django_db


def days(n):
    return timezone.localdate() + timedelta(days=n)


def typed(cm2, method="traced", debridement="before"):
    return SimpleNamespace(area_mm2=cm2 * 100, method=method, debridement=debridement)


@pytest.fixture
def lesion(person):
    made = factories.lesion(on=factories.limb(of=person))
    factories.series(made, [4.0, 3.0], last=days(-7))
    return made


def test_a_typed_area_is_compared_with_the_last_one(lesion):
    words, kind = change_words(lesion, days(0), typed(2.0), state_told=True)
    assert words.startswith("33 % smaller (± 14 %, beyond error), since ")
    assert kind == "real"
    assert change_words(lesion, days(0), typed(2.9), state_told=True)[1] == "within"


@pytest.mark.parametrize(
    ("area", "told", "words"),
    [
        (typed(2.0, method="ellipse"), True, "not compared: last was traced"),
        (typed(2.0, debridement="after"), True, "not compared: last was before debridement"),
        (typed(2.0), False, "say before or after"),
        (None, True, ""),
    ],
)
def test_what_is_not_alike_is_not_compared(lesion, area, told, words):
    got, kind = change_words(lesion, days(0), area, state_told=told)
    assert got.startswith(words)
    assert kind == "none"


def test_a_visit_in_error_is_never_the_last_value(person, lesion):
    wrong = factories.visit(of=person, on=days(-1), state="in_error", error_reason="wrong patient")
    factories.measurement(at=wrong, of=lesion, cm2=9)
    sheet = visit_sheet(person, days(0))
    assert sheet.lesions[0].last_area.area_cm2 == 3.0
    assert sheet.last.visited_on == days(-7)
    assert change_words(lesion, days(0), typed(3.0), state_told=True)[0].startswith("no change")


def test_weight_is_due_after_the_sites_days(person):
    assert visit_sheet(person, days(0)).weight_due
    factories.weight(of=person, on=days(-30))
    assert not visit_sheet(person, days(0)).weight_due
    assert visit_sheet(person, days(1)).weight_due


def test_closed_lesions_that_wait_for_confirmation_are_looked_at_and_healed_ones_are_not(person):
    limb = factories.limb(of=person)
    waiting = factories.lesion(on=limb, state="to_confirm", closed_on=days(-7))
    factories.lesion(on=limb, state="healed", outcome="healed", closed_on=days(-40), confirmed_on=days(-20))
    assert [one.lesion for one in visit_sheet(person, days(0)).lesions] == [waiting]


def test_the_number_of_queries_does_not_grow(site):
    def count(n):
        who = factories.person(at=site)
        limb = factories.limb(of=who)
        lesions = [factories.lesion(on=limb, label=f"{i}") for i in range(n)]
        visit = factories.visit(of=who)
        for one in lesions:
            factories.measurement(at=visit, of=one)
        with CaptureQueriesContext(connection) as sheet:
            visit_sheet(who, days(0))
        with CaptureQueriesContext(connection) as page:
            read = visit_page(visit)
            [(str(row.lesion), signs) for row, signs in read.findings]
        return len(sheet), len(page)

    assert count(3) == count(10)
