"""Signing, fitting and sealing a device that stays on under what stands about the foot."""

from datetime import timedelta

import pytest
from django.utils import timezone

from clinic.devices.reads.advice import limb_decision
from clinic.devices.reads.sealing import sealing_gate
from clinic.devices.writes import wear
from clinic.models import DangerOwner
from clinic.record.errors import Refused
from tests import factories, feet
from tests.clinic.devices.writes.signing import answers, fit, sign

TODAY = timezone.localdate


def ago(days):
    return TODAY() - timedelta(days=days)


def cast(podiatrist, limb):
    return sign(podiatrist, limb, device_class="total_contact_cast")


def test_a_clean_look_within_the_week_lets_it_be_signed_and_only_one_of_the_day_lets_it_be_fitted(
    limb, podiatrist, staff
):
    limb.person.visits.update(visited_on=ago(5))
    made = cast(podiatrist, limb)
    with pytest.raises(Refused, match="A complete look for infection on .* is missing"):
        fit(staff, made)
    feet.clean_foot(limb.lesions.get())
    assert fit(staff, made).sealed_on == TODAY()


def test_a_look_older_than_the_house_rule_signs_nothing(limb, podiatrist):
    limb.person.visits.update(visited_on=ago(8))
    with pytest.raises(Refused, match="Nobody has looked for infection"):
        cast(podiatrist, limb)


@pytest.mark.parametrize(
    ("column", "words", "page"),
    [
        ("claustrophobia", "cannot bear to be closed in", "circumstances"),
        ("dvt_suspected", "thrombosis of the leg suspected", "finding"),
        ("ulcer_on_same_leg", "other wound or graft", "finding"),
        ("cavity", "cavity", "visit"),
    ],
)
def test_nothing_is_sealed_while_a_question_that_could_forbid_it_is_open(
    limb, podiatrist, staff, column, words, page
):
    made = cast(podiatrist, limb)
    for rows in (limb.findings, limb.person.circumstances, limb.lesions.get().measurements):
        if column in {field.name for field in rows.model._meta.fields}:
            rows.update(**{column: None})
    (question,) = sealing_gate(made, TODAY()).open
    assert (question.name, question.page) == (column, page)
    with pytest.raises(Refused, match="Not asked yet") as refused:
        fit(staff, made)
    assert words in refused.value.message


def test_what_only_the_prescription_page_asks_is_answered_before_it_is_signed(limb, podiatrist):
    told = answers()
    del told["over_weight_limit"]
    decision = limb_decision(limb, TODAY(), told)
    assert decision.unasked_here == ("Heavier than the device is made for",)
    with pytest.raises(Refused, match="heavier than the device is made for is not answered"):
        sign(podiatrist, limb, decision=decision, device_class="total_contact_cast")


def worn(limb, podiatrist, staff):
    """A cast that was sealed and opened again."""
    made = fit(staff, cast(podiatrist, limb))
    return wear.prescription_open(
        by=staff, prescription=made, opened_on=TODAY(), expected_version=made.version
    )


def test_a_perfusion_value_that_runs_out_under_a_running_device_asks_and_does_not_withdraw(
    limb, podiatrist, staff
):
    made = worn(limb, podiatrist, staff)
    limb.findings.update(found_on=ago(91))
    gate = sealing_gate(made, TODAY())
    assert gate.hindered == ()
    assert "no longer counts" in gate.asks[0]
    # A new one is not signed on it.
    assert not limb_decision(limb, TODAY(), answers()).foot.worst.non_removable_allowed
    assert fit(staff, made).sealed_on == TODAY()


@pytest.mark.parametrize(
    "found", [{"toe_pressure_mmhg": 35}, {"newly_cold": True}, {"dead_tissue": True}, {"rest_pain": True}]
)
def test_a_bad_finding_withdraws_a_running_device(limb, podiatrist, staff, found):
    made = worn(limb, podiatrist, staff)
    factories.finding(of=limb, **found)
    with pytest.raises(Refused, match="Not fitted and sealed on this foot"):
        fit(staff, made)


def test_no_signature_is_offered_past_what_no_second_one_overrides(limb, podiatrist):
    limb.lesions.get().measurements.update(deep_infection=True)
    with pytest.raises(Refused, match="No signature overrides abscess"):
        cast(podiatrist, limb)


def test_a_removable_device_is_signed_whatever_stands(limb, podiatrist):
    factories.finding(of=limb, toe_pressure_mmhg=22)
    decision = limb_decision(limb, TODAY(), answers())
    assert sign(podiatrist, limb, device_class=decision.first_offered[0]).pk


def test_a_danger_that_a_team_has_taken_still_withholds_what_stays_on(limb, podiatrist):
    factories.finding(of=limb, toe_pressure_mmhg=22)
    DangerOwner.objects.create(
        limb=limb,
        danger="ischaemia",
        level=3,
        team="Vascular team",
        taken_on=TODAY(),
        next_on=TODAY() + timedelta(days=9),
        created_by=factories.author(),
    )
    with pytest.raises(Refused, match="not signed on this foot"):
        cast(podiatrist, limb)
