"""An ulcer to be confirmed that a later visit finds open is open again."""

import pytest

from clinic.lesions.covered import open_after
from clinic.lesions.writes.closure import lesion_reopen
from clinic.models import AuditEvent
from clinic.visits.traces_left import traces_of
from clinic.visits.writes.corrections import visit_correct
from clinic.visits.writes.moving import visit_move
from clinic.visits.writes.taking_back import visit_in_error
from clinic.visits.writes.visits import PersonFindings
from tests import factories, factories_care
from tests.clinic.visits.writes.test_visits import at, days, log

pytestmark = pytest.mark.django_db


@pytest.fixture
def waiting(person):
    lesion = factories.lesion(on=factories.limb(of=person))
    factories_care.found_covered(lesion, days(-10))
    lesion.state, lesion.closed_on = "to_confirm", days(-10)
    lesion.save()
    return lesion


def test_a_later_open_area_reopens_an_ulcer_to_confirm(staff, person, waiting):
    log(staff, person, [at(waiting)])
    waiting.refresh_from_db()
    assert (waiting.state, waiting.closed_on, waiting.reopened_on) == ("open", None, days(0))
    assert AuditEvent.objects.filter(verb="reopened").count() == 1


def test_covered_again_or_an_earlier_area_leaves_it_to_be_confirmed(staff, person, waiting):
    log(staff, person, [at(waiting)], visited_on=days(-12), next_on=days(3))
    log(staff, person, [at(waiting, covered_dry=True)])
    waiting.refresh_from_db()
    assert (waiting.state, waiting.closed_on) == ("to_confirm", days(-10))


def test_a_visit_corrected_to_an_open_area_takes_the_closing_back(staff, person, waiting):
    visit = log(staff, person, [at(waiting, covered_dry=True)]).visit
    row = visit.measurements.get()
    told = at(waiting)
    told = type(told)(**{**vars(told), "version": row.version})
    visit_correct(
        by=staff,
        visit=visit,
        found=PersonFindings(visited_on=visit.visited_on, next_on=visit.next_on),
        lesions=[told],
        reason="It was open.",
        expected_version=visit.version,
    )
    waiting.refresh_from_db()
    assert waiting.state == "open"
    assert open_after(waiting, days(-10)) is not None


def test_a_visit_moved_here_with_an_open_area_takes_the_closing_back(staff, site, person, waiting):
    wrong = factories.person(at=site)
    other = factories.lesion(on=factories.limb(of=wrong))
    visit = log(staff, wrong, [at(other)]).visit
    visit_move(
        by=staff,
        visit=visit,
        person=person,
        lesions={other.pk: waiting},
        next_on=days(7),
        reason="two charts open",
        expected_version=visit.version,
    )
    waiting.refresh_from_db()
    assert (waiting.state, waiting.closed_on, waiting.reopened_on) == ("open", None, days(0))


def gone(by, visit):
    keys = [one.key for one in traces_of(visit)]
    visit_in_error(by=by, visit=visit, reason="another patient", expected_version=visit.version)
    return keys


def test_the_visit_that_reopened_it_taken_back_the_closing_stands_again(staff, person, waiting):
    visit = log(staff, person, [at(waiting)]).visit
    assert f"reopening-{waiting.pk}" in gone(staff, visit)
    waiting.refresh_from_db()
    assert (waiting.state, waiting.closed_on, waiting.reopened_on) == ("to_confirm", days(-10), None)
    assert AuditEvent.objects.filter(verb="took back the reopening of").count() == 1


def test_moved_away_it_takes_the_reopening_with_it(staff, site, person, waiting):
    visit = log(staff, person, [at(waiting)]).visit
    right = factories.lesion(on=factories.limb(of=factories.person(at=site)))
    visit_move(
        by=staff,
        visit=visit,
        person=right.limb.person,
        lesions={waiting.pk: right},
        next_on=days(7),
        reason="two charts open",
        expected_version=visit.version,
    )
    waiting.refresh_from_db()
    assert (waiting.state, waiting.closed_on) == ("to_confirm", days(-10))


def test_found_open_twice_it_stays_open(staff, person, waiting):
    first = log(staff, person, [at(waiting)], visited_on=days(-3), next_on=days(4)).visit
    log(staff, person, [at(waiting)])
    assert not [key for key in gone(staff, first) if key.startswith("reopening")]
    waiting.refresh_from_db()
    assert waiting.state == "open"


def test_reopened_by_hand_it_is_not_closed_by_a_visit_taken_back(staff, person, waiting):
    day = days(0)
    lesion_reopen(by=staff, lesion=waiting, reopened_on=day, expected_version=waiting.version)
    visit = log(staff, person, [at(waiting)]).visit
    gone(staff, visit)
    waiting.refresh_from_db()
    assert waiting.state == "open"
