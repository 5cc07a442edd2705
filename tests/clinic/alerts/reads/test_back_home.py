"""Back from hospital: perfusion, infection, device and circumstances are asked anew, on Today until then."""

from datetime import timedelta

import pytest
from django.utils import timezone

from clinic.alerts.reads.back_home import back_home
from clinic.models import EventKind
from clinic.week.reads.today import today_lists
from tests import factories

pytestmark = pytest.mark.django_db
TODAY = timezone.localdate
ALL = {
    "measure perfusion again",
    "look for infection again",
    "look at the device again, or choose one",
    "update social and mobility",
}


def ago(days):
    return TODAY() - timedelta(days=days)


@pytest.fixture
def lesion(person):
    """A foot of which everything was known before the stay."""
    made = factories.lesion(on=factories.limb(of=person))
    known(made, 30)
    return made


def known(lesion, days):
    person = lesion.limb.person
    factories.finding(of=lesion.limb, found_on=ago(days), toe_pressure_mmhg=75)
    visit = factories.visit(of=person, on=ago(days), device_condition="sound")
    factories.measurement(at=visit, of=lesion, infection_looked=True)
    person.circumstances.create(asked_on=ago(days), high_falls_risk=False, created_by=factories.author())


def in_hospital(person, days):
    factories.visit(of=person, on=ago(days), attendance="in_hospital")


def left(person):
    found = back_home({person.pk}, TODAY()).get(person.pk)
    return {one.words for one in found.left} if found else set()


def test_somebody_who_was_in_no_hospital_is_asked_nothing(person, lesion):
    assert left(person) == set()


def test_while_in_hospital_nothing_is_asked_yet(person, lesion):
    in_hospital(person, 10)
    assert left(person) == set()


def test_the_first_visit_after_the_stay_asks_everything_it_did_not_answer(person, lesion):
    in_hospital(person, 10)
    factories.visit(of=person, on=ago(3))
    assert left(person) == ALL


def test_a_call_from_home_asks_everything_before_any_visit(person, lesion):
    in_hospital(person, 10)
    factories.call(of=person, about="back_home")
    assert left(person) == ALL


def test_a_call_without_a_stay_on_record_asks_too(person, lesion):
    factories.call(of=person, about="back_home")
    assert left(person) == ALL


def test_an_admission_noted_at_the_ulcer_counts_as_a_stay(person, lesion):
    factories.event(of=lesion, kind=EventKind.ADMISSION, on=ago(10))
    factories.visit(of=person, on=ago(3))
    assert left(person) == ALL


def test_everything_found_since_ends_it(person, lesion):
    in_hospital(person, 10)
    known(lesion, 3)
    assert left(person) == set()


def test_a_second_stay_asks_again(person, lesion):
    in_hospital(person, 20)
    known(lesion, 15)
    in_hospital(person, 10)
    factories.visit(of=person, on=ago(2))
    assert left(person) == ALL


def test_another_ulcer_not_looked_at_keeps_the_look(person, lesion):
    in_hospital(person, 10)
    known(lesion, 3)
    factories.lesion(on=lesion.limb, label="B")
    assert left(person) == {"look for infection again"}


def test_it_stands_on_today_with_a_link_for_each(person, lesion, site):
    in_hospital(person, 10)
    factories.visit(of=person, on=ago(3))
    row = today_lists(site, TODAY()).morning.back_home[0]
    assert row.person == person
    assert {ask.words for ask in row.asks} == ALL
    assert {ask.url_name for ask in row.asks} == {"finding_new", "visit_new", "person", "circumstances_new"}
