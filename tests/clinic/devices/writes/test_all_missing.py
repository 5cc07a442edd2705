"""Prescribing: all that is missing is said at once; the plan is carried over exactly where it is offered."""

import pytest

from clinic.devices.reads.advice import limb_decision
from clinic.devices.writes import prescriptions as writes
from clinic.devices.writes.opening_cards import card_hand_over
from clinic.guidelines.devices import WITH_INSOLE
from clinic.record.errors import Refused
from offload.models import ReliefPlan
from tests import factories, feet
from tests.clinic.case.writes.test_settling import a_plan
from tests.clinic.devices.writes.signing import TODAY, answers, sign
from tests.clinic.devices.writes.test_opening_cards import card
from tests.clinic.devices.writes.test_opening_cards import seal as seal_cast
from tests.clinic.test_all_missing import each_combination


def test_prescribing_names_each_thing_that_is_missing_with_its_way(limb, podiatrist):
    sign(podiatrist, limb)
    factories.red_flag(of=limb.person)
    with pytest.raises(Refused) as refused:
        sign(podiatrist, limb, device_class="total_contact_cast", beside=["shoes"], carry_plan=True)
    told = {part.field: part for part in refused.value.parts}
    assert {"device_class", "beside", "stop_reason", "carry_plan"} <= set(told)
    assert [part.way.route for part in refused.value.parts if part.way] == ["flag_answer"]


def test_the_plan_is_offered_to_carry_exactly_where_signing_takes_it(
    limb, podiatrist, django_assert_num_queries
):
    """The offer stands for every class with an insole, and the page hides it for the others."""
    lesion = limb.lesions.get()
    link = a_plan(limb, lesion)
    for state in ("signed", "superseded"):
        ReliefPlan.objects.filter(pk=link.plan_id).update(state=state)
        running = factories.prescription(of=limb, lesions=[lesion], relief_plan=link.plan)
        running.relief_plan.refresh_from_db()
        offered = writes.plan_to_carry(running)
        for device_class in ("total_contact_cast", "walker_non_removable", "ankle_high_removable"):
            if offered and device_class in WITH_INSOLE:
                assert writes._carried_plan(running, device_class) == link.plan
            else:
                with pytest.raises(Refused, match="^Carry over the relief plan"):
                    writes._carried_plan(running, device_class)
        running.stopped_on, running.stop_reason = TODAY(), "changed"
        running.save()


def test_the_page_marks_the_classes_that_take_the_plan(limb, podiatrist, as_podiatrist):
    lesion = limb.lesions.get()
    factories.prescription(of=limb, lesions=[lesion], relief_plan=a_plan(limb, lesion).plan)
    page = as_podiatrist.get(f"/limbs/{limb.pk}/prescribe/").content.decode()
    assert 'name="carry_plan"' in page
    inputs = [
        one.split(">")[0] for one in page.split("<input")[1:] if 'name="device_class"' in one.split(">")[0]
    ]
    assert inputs
    for one in inputs:
        takes = any(f'value="{name}"' in one for name in WITH_INSOLE)
        assert ("data-insole" in one) == takes, one
    assert limb_decision(limb, TODAY(), answers()).advice.classes


def test_sealing_names_each_thing_that_is_missing(site, staff):
    faults = {
        "A red flag of this patient is not answered yet": "flag_answer",
        "make it first": None,
        "lies after the day it must be opened by": None,
    }

    def seal(flagged, without_card, late):
        until = 6 if late else 7
        lesion = factories.lesion(on=factories.limb(of=factories.person(at=site)))
        feet.clean_foot(lesion)
        device = factories.prescription(
            of=lesion.limb, lesions=[lesion], device_class="total_contact_cast", prescribed_on=TODAY()
        )
        if flagged:
            factories.red_flag(of=lesion.limb.person, flags=["new_probe_to_bone"])
        if not without_card:
            card_hand_over(by=staff, card=card(staff, device, until))
        seal_cast(staff, device, until, review=7)

    each_combination(faults, seal)
