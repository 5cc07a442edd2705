"""Counter-examples of the machine, shrunk and named; each was a fault before."""

from datetime import timedelta
from random import Random
from unittest.mock import patch

import pytest

from clinic.accounts.writes.accounts import link_use
from clinic.devices.writes.opening_cards import card_make
from clinic.devices.writes.wear_back import opening_take_back
from clinic.models import Lesion, Measurement, Person, PlanFlag, Prescription, User, Visit
from clinic.people.reads.left_open import open_things
from clinic.people.writes.people import person_set_state, weight_add
from clinic.record.errors import Refused
from clinic.visits.states import visit_state
from clinic.visits.writes import corrections
from clinic.visits.writes.taking_back import visit_in_error

from . import accounts, coarse, devices, people, scenes, ulcers
from .tour import Tour
from .world import World

pytestmark = pytest.mark.django_db


@pytest.fixture
def tour():
    with coarse.plans(), patch("django.utils.timezone.now", lambda: World.now):
        yield Tour(World())


def correct(visit, day, **changed):
    rows = Measurement.objects.filter(visit=visit).select_related("lesion__limb__person__site")
    w = World.__new__(World)
    w.random = Random(1)
    told = []
    for row in rows:
        one = ulcers.look_at(w, row.lesion, changed.get("covered", True))
        told.append(type(one)(**{**vars(one), "version": row.version}))
    found = ulcers.PersonFindings(visited_on=day, next_on=visit.next_on)
    by = visit.created_by
    corrections.visit_correct(
        by=by, visit=visit, found=found, lesions=told, reason="As it was.", expected_version=visit.version
    )


def test_a_closing_visit_corrected_to_open_takes_the_healing_back(tour):
    scenes.healed(tour)
    one = Lesion.objects.get(state="healed")
    visit = Visit.objects.get(person=one.limb.person, visited_on=one.closed_on)
    correct(visit, visit.visited_on, covered=False)
    one.refresh_from_db()
    assert (one.state, one.outcome, one.closed_on, one.confirmed_on) == ("open", "", None, None)
    assert one.episode.ended_on is None


def test_a_confirming_visit_corrected_to_open_takes_the_healing_back(tour):
    scenes.healed(tour)
    one = Lesion.objects.get(state="healed")
    visit = Visit.objects.get(person=one.limb.person, visited_on=one.confirmed_on)
    correct(visit, visit.visited_on, covered=False)
    one.refresh_from_db()
    assert one.state == "open"


def test_a_closing_visit_of_another_day_closes_nothing_on_the_old_one(tour):
    scenes.healed(tour)
    one = Lesion.objects.get(state="healed")
    visit = Visit.objects.get(person=one.limb.person, visited_on=one.confirmed_on)
    correct(visit, visit.visited_on + timedelta(days=1))
    one.refresh_from_db()
    assert (one.state, one.confirmed_on) == ("to_confirm", None)


def sealed(tour):
    scenes.sealed(tour)
    return Prescription.objects.select_related("limb__person__site").get(stopped_on=None)


def test_an_opening_taken_back_brings_the_next_date_before_the_day_to_open_by(tour):
    row = sealed(tour)
    person = row.limb.person
    tour.w.later(1)
    tour.visit(person, days=10)
    row.refresh_from_db()
    assert row.opened_on is not None
    opening_take_back(by=row.created_by, prescription=row, reason="Not opened.", expected_version=row.version)
    latest = Visit.objects.filter(person=person).order_by("-visited_on")[0]
    assert latest.next_on <= row.open_by


def test_a_device_is_not_sealed_again_over_a_clock_that_runs(tour):
    row = sealed(tour)
    before = (row.sealed_on, row.open_by)
    tour.w.later(2)
    tour.do(devices.seal, row=row)
    row.refresh_from_db()
    assert (row.sealed_on, row.open_by) == before


def test_no_second_card_is_made_while_the_device_is_sealed(tour):
    row = sealed(tour)
    with pytest.raises(Refused, match="Record that it was opened first"):
        card_make(
            by=row.created_by,
            prescription=row,
            sealed_on=tour.w.today,
            open_by=tour.w.today + timedelta(days=5),
        )


def test_nothing_new_is_written_for_somebody_who_died(tour):
    scenes.looked_at(tour)
    person = Person.objects.get(limbs__lesions__isnull=False)
    person_set_state(
        by=person.created_by,
        person=person,
        state="died",
        state_on=tour.w.today,
        expected_version=person.version,
    )
    with pytest.raises(Refused, match="no longer in care"):
        weight_add(by=person.created_by, person=person, kg=71, how="scales", measured_on=tour.w.today)


def test_a_flag_withdrawn_is_not_open_of_somebody_who_left(tour):
    scenes.looked_at(tour)
    person = Person.objects.get(limbs__lesions__isnull=False)
    tour.until(ulcers.call, person.red_flags.first, person=person)
    flag = person.red_flags.get()
    while flag.withdrawn_on is None:
        tour.do(ulcers.withdraw_flag, row=flag)
        flag.refresh_from_db()
    assert "flag" not in {one.kind for one in open_things(person)}


def test_a_visit_that_raised_a_question_about_the_outline_is_taken_back(tour):
    scenes.checked(tour)
    person = Person.objects.get(limbs__lesions__isnull=False)
    asked = PlanFlag.objects.filter(cause="outline", withdrawn_on=None)
    Measurement.objects.update(area_mm2=40)  # as it was when the plan was signed
    tour.w.later(1)
    visit = tour.visit(person)
    assert asked.exists()
    visit_in_error(
        by=visit.created_by, visit=visit, reason="Of somebody else.", expected_version=visit.version
    )
    assert not asked.exists()


def test_a_link_of_before_does_not_work_when_the_account_is_switched_on_again(tour):
    row = tour.until(accounts.invite, User.objects.filter(username__startswith="leaver").first)
    token = accounts.LINKS[row.pk]
    for event in (accounts.switch_off, accounts.switch_on):
        tour.do(event, row=row)
    row.refresh_from_db()
    assert row.is_active
    with pytest.raises(Refused, match="Ask the clinic's manager for a new one"):
        link_use(token=token, password="a long walk by the river 7")


def test_a_visit_of_another_is_moved_away_from_somebody_who_left(tour):
    right, wrong = tour.somebody(), tour.somebody()
    tour.ulcer(right), tour.ulcer(wrong)

    def weighed(w):
        ulcers.visit(w, unfinished=True, next_on=None, red_flags=(), weight_kg=71, weight_how="scales")

    row = tour.until(weighed, wrong.visits.first, person=wrong)
    tour.w.later(1)
    tour.until(people.leave, lambda: people.person_now(wrong.pk) == "moved", person=wrong)
    had = people.rows_of_care(wrong.pk)
    tour.until(ulcers.move, lambda: visit_state(wrong.visits.get()) == "in_error", row=row)
    assert row.weights.get().person_id != wrong.pk
    assert tour.w.left[wrong.pk] == people.rows_of_care(wrong.pk) < had
