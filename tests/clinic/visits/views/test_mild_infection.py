"""A mild infection asks for its sample and antibiotic decision; an uninfected ulcer gets none."""

import pytest

from tests import factories

ASKED = "Sample and antibiotic decision not recorded."


@pytest.fixture
def lesion(person):
    return factories.lesion(on=factories.limb(of=person))


def page(client, lesion, grade):
    visit = lesion.limb.person.visits.first() or factories.visit(of=lesion.limb.person)
    row = visit.measurements.first() or factories.measurement(at=visit, of=lesion, infection_looked=True)
    type(row).objects.filter(pk=row.pk).update(infection_grade=grade)
    return client.get(f"/visits/{visit.pk}/").content.decode()


def test_it_is_asked_for_until_one_of_them_is_recorded_on_that_day(as_staff, lesion):
    first = page(as_staff, lesion, 2)
    assert ASKED in first
    assert f"/lesions/{lesion.pk}/events/new/" in first
    factories.event(of=lesion, lesion=lesion, kind="antibiotic", note="none, because it is clean")
    after = page(as_staff, lesion, 2)
    assert ASKED not in after
    assert "none, because it is clean" in after


@pytest.mark.parametrize("kind", ["debrided", "imaging"])
def test_another_event_does_not_answer_it(as_staff, lesion, kind):
    factories.event(of=lesion, lesion=lesion, kind=kind)
    assert ASKED in page(as_staff, lesion, 2)


def test_an_uninfected_ulcer_gets_none_and_the_page_says_so(as_staff, lesion):
    shown = page(as_staff, lesion, 1)
    assert "None for an uninfected ulcer" in shown
    assert ASKED not in shown


@pytest.mark.parametrize("grade", [3, 4, None])
def test_a_worse_or_an_unknown_grade_is_a_matter_of_its_own(as_staff, lesion, grade):
    shown = page(as_staff, lesion, grade)
    assert ASKED not in shown
    assert "None for an uninfected ulcer" not in shown
