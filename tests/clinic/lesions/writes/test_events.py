"""A debridement answers what is asked before the blade; severe ischaemia without infection is a stop."""

from datetime import timedelta

import pytest
from django.utils import timezone

from clinic.lesions.writes.events import event_add
from clinic.models import Event
from clinic.record.errors import Refused
from tests import factories, feet

pytestmark = pytest.mark.django_db

TODAY = timezone.localdate


@pytest.fixture
def lesion(person):
    return factories.lesion(on=factories.limb(of=person))


def debrided(by, lesion, **changed):
    given = {"sharp": True, "anticoagulant": "no", "happened_on": TODAY(), **changed}
    return event_add(by=by, lesion=lesion, kind="debrided", **given)


@pytest.mark.parametrize(
    ("changed", "field"),
    [
        ({"sharp": None}, "sharp"),
        ({"anticoagulant": ""}, "anticoagulant"),
        ({"anticoagulant": "yes"}, "anticoagulant_done"),
        ({"despite": "vascular ward"}, "despite"),
    ],
)
def test_a_debridement_answers_what_is_asked(staff, lesion, changed, field):
    with pytest.raises(Refused) as refused:
        debrided(staff, lesion, **changed)
    assert refused.value.field == field
    assert not Event.objects.exists()


def test_the_answers_are_kept_and_not_known_is_an_answer(staff, lesion):
    made = debrided(staff, lesion, anticoagulant="not_known")
    assert (made.sharp, made.anticoagulant) == (True, "not_known")
    made = debrided(staff, lesion, anticoagulant="yes", anticoagulant_done="pressed ten minutes")
    assert made.anticoagulant_done == "pressed ten minutes"


@pytest.mark.parametrize("infection", [None, 1, 2, 3])
@pytest.mark.parametrize("toe", [22, 30, 45, 80])
@pytest.mark.parametrize("sharp", [True, False])
def test_sharp_debridement_of_an_uninfected_ulcer_with_severe_ischaemia_is_a_stop(
    staff, lesion, infection, toe, sharp
):
    factories.finding(of=lesion.limb, toe_pressure_mmhg=toe)
    if infection is not None:
        at = factories.visit(of=lesion.limb.person)
        signs = {1: [], 2: ["warmth", "pus"], 3: ["warmth", "pus", "redness"]}[infection]
        look = {**feet.CLEAN_LOOK, "infection_grade": infection, "infection_signs": signs}
        factories.measurement(at=at, of=lesion, redness_mm=30 if infection == 3 else None, **look)
    if sharp and toe < 30 and infection in (None, 1):
        with pytest.raises(Refused, match="Ask the vascular team") as refused:
            debrided(staff, lesion)
        assert refused.value.field == "despite"
        # What was done all the same is not left out of the record.
        made = debrided(staff, lesion, despite="vascular ward, 10:20")
        assert made.despite == "vascular ward, 10:20"
    else:
        assert debrided(staff, lesion, sharp=sharp).pk


def test_a_stop_is_shown_before_anything_is_typed(as_staff, lesion):
    assert "no_sharp" not in as_staff.get(f"/lesions/{lesion.pk}/events/new/").content.decode()
    factories.finding(of=lesion.limb, toe_pressure_mmhg=22)
    assert 'data-message="no_sharp"' in as_staff.get(f"/lesions/{lesion.pk}/events/new/").content.decode()


@pytest.mark.parametrize("answer", [{"sharp": False}, {"anticoagulant": "no"}, {"despite": "ward"}])
def test_another_event_takes_no_answer_about_a_debridement(staff, lesion, answer):
    with pytest.raises(Refused, match="belong to a debridement"):
        event_add(by=staff, lesion=lesion, kind="fall", happened_on=TODAY() - timedelta(days=1), **answer)
