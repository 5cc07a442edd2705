"""What can hurt: a bad finding that drops out of today's advice. Each case once stood, or fell, on a page."""

import uuid
from datetime import timedelta

import pytest
from django.utils import timezone

from clinic.capture.writes.measurement import LesionFindings
from clinic.devices.reads.advice import limb_decision
from clinic.devices.writes import prescriptions as writes
from clinic.evidence.reads.facts import facts_of_limb
from clinic.guidelines.devices import NON_REMOVABLE
from clinic.models import RedFlag
from clinic.people.reads.limbs import latest_findings
from clinic.people.reads.risk import foot_risk
from clinic.people.writes.limbs import finding_add
from clinic.record.errors import Refused
from clinic.visits.writes.visits import PersonFindings, visit_log
from tests import factories, feet

TODAY = timezone.localdate


def ago(days):
    return TODAY() - timedelta(days=days)


@pytest.fixture
def lesion(person):
    return factories.lesion(on=factories.limb(of=person))


@pytest.fixture
def limb(lesion):
    return lesion.limb


def advised(limb, **answers):
    told = {
        "needs_frequent_dressing": False,
        "device_available": True,
        "over_weight_limit": False,
    }
    return limb_decision(limb, TODAY(), {**told, **answers})


def offered(decision):
    return {offer.id for offer in decision.advice.classes}


def refer(decision):
    return {row["id"]: row["urgency"] for row in decision.refer}


def fact(decision, name):
    return next(row for row in decision.facts[0].rows if row.name == name)


def looked_at(lesion, days=0, **found):
    visit = factories.visit(of=lesion.limb.person, on=ago(days))
    return factories.measurement(at=visit, of=lesion, **{**feet.CLEAN_LOOK, **found})


def test_a_calcified_foot_without_pulses_gets_nothing_that_stays_on(limb, lesion):
    feet.clean_foot(
        lesion,
        toe_pressure_mmhg=None,
        dorsalis_pedis="absent",
        posterior_tibial="absent",
        ankle_index="1.25",
        toe_index="0.35",
    )
    decision = advised(limb)
    assert not offered(decision) & NON_REMOVABLE
    assert "vascular_assessment" in refer(decision)
    assert fact(decision, "ischaemia_settled").value is False


def test_a_newer_weaker_test_never_overrules_a_worse_one(limb, lesion):
    feet.clean_foot(lesion, toe_pressure_mmhg=None, ankle_index="1.10")
    factories.finding(of=limb, found_on=ago(7), toe_pressure_mmhg=25)
    decision = advised(limb)
    row = fact(decision, "ischaemia_grade")
    assert (row.value, row.state, row.found_on) == (3, "stands", ago(7))
    assert not offered(decision) & NON_REMOVABLE


@pytest.mark.parametrize(("below", "urgent"), [(25, False), (30, True)])
def test_the_clinic_s_line_for_oxygen_decides_whether_it_is_urgent(limb, lesion, below, urgent):
    limb.person.site.tcpo2_urgent_mmhg = below
    limb.person.site.save()
    feet.clean_foot(lesion, toe_pressure_mmhg=None, tcpo2_mmhg=28)
    words = " ".join(row["because"] for row in advised(limb).refer)
    assert (f"below {below} mmHg" in words) is urgent


@pytest.mark.parametrize("signs", [["pus"], [], ["warmth", "pus"]])
def test_a_deep_abscess_is_never_called_uninfected(limb, lesion, signs):
    feet.clean_foot(lesion)
    lesion.measurements.update(infection_signs=signs, deep_infection=True)
    decision = advised(limb)
    assert fact(decision, "infection_grade").value >= 3
    assert refer(decision)["infection_assessment"] == "immediate"
    assert decision.foot.override_barred


def test_wide_redness_alone_is_never_called_uninfected(limb, lesion):
    feet.clean_foot(lesion)
    lesion.measurements.update(infection_signs=["redness"], redness_mm=30)
    assert fact(advised(limb), "infection_grade").value >= 3


def test_yesterday_s_infection_stands_today_and_so_does_its_referral(limb, lesion):
    factories.finding(of=limb, toe_pressure_mmhg=75)
    looked_at(lesion, 1, infection_signs=["redness", "pus"], redness_mm=25, infection_grade=3)
    decision = advised(limb)
    row = fact(decision, "infection_grade")
    assert (row.value, row.state, row.found_on) == (3, "stands", ago(1))
    assert refer(decision)["infection_assessment"] == "immediate"


def test_what_stays_on_is_not_signed_on_a_foot_with_hardly_any_blood(limb, lesion, podiatrist):
    feet.clean_foot(lesion, toe_pressure_mmhg=22)
    decision = advised(limb)
    with pytest.raises(Refused, match="not signed on this foot") as refused:
        writes.prescription_sign(
            by=podiatrist,
            limb=limb,
            lesions=[lesion],
            decision=decision,
            seen_digest=decision.digest,
            device_class="total_contact_cast",
            departure_reason="person_declines",
            reason="The patient declines it.",
            prescribed_on=TODAY(),
        )
    assert refused.value.field == "departure_reason"


def test_none_of_these_over_severe_ischaemia_raises_the_flag_by_itself_once(limb, lesion, staff):
    factories.finding(of=limb, found_on=ago(3), toe_pressure_mmhg=22)
    for back in (1, 0):
        visit_log(
            by=staff,
            person=limb.person,
            submission_key=uuid.uuid4(),
            found=PersonFindings(visited_on=ago(back), next_on=TODAY() + timedelta(days=7)),
            lesions=[LesionFindings(lesion=lesion, not_measured_because="dressing stays on")],
        )
    flag = RedFlag.objects.get()
    assert flag.flags == ["severe_ischaemia"]
    assert flag.from_record == {"ischaemia": 3}


def test_a_finding_past_an_urgent_line_raises_its_flag_when_it_is_entered(limb, staff):
    finding_add(by=staff, limb=limb, found_on=TODAY(), toe_pressure_mmhg=22)
    assert RedFlag.objects.get().flags == ["severe_ischaemia"]
    finding_add(by=staff, limb=limb, found_on=TODAY(), toe_pressure_mmhg=21)
    assert RedFlag.objects.count() == 1
    finding_add(by=staff, limb=limb, found_on=TODAY(), dead_tissue=True)
    assert RedFlag.objects.count() == 2


@pytest.mark.parametrize(
    "found",
    [
        {"toe_pressure_mmhg": 25},
        {"ankle_index": "1.45"},
        {"toe_index": "0.50"},
        {"waveform": "monophasic"},
        {"tcpo2_mmhg": 20},
    ],
)
def test_felt_pulses_do_not_make_an_artery_sound(limb, found):
    factories.finding(of=limb, dorsalis_pedis="present", posterior_tibial="present", **found)
    row = latest_findings([limb], limb.person.site)[limb.pk]
    assert row.arteries is True
    factories.finding(
        of=limb,
        monofilament_tested=10,
        monofilament_felt=0,
        deformity="none",
        previous_ulcer=False,
    )
    risk = foot_risk(limb, latest_findings([limb], limb.person.site)[limb.pk], [], limb.person)
    assert min(risk.possible) >= 2


def test_not_knowing_never_offers_more_than_knowing_the_worst(limb, lesion):
    unknown = offered(advised(limb))
    feet.clean_foot(lesion, toe_pressure_mmhg=22)
    lesion.measurements.update(infection_signs=["redness", "pus"], redness_mm=30)
    known_bad = offered(advised(limb))
    assert "felted_foam_with_footwear" not in unknown
    assert not unknown & NON_REMOVABLE
    assert unknown <= known_bad


def test_unwell_that_nobody_measured_is_no_severe_infection(limb, lesion):
    feet.clean_foot(lesion)
    lesion.measurements.update(unwell=True)
    decision = advised(limb)
    assert fact(decision, "infection_grade").value != 4
    assert refer(decision)["infection_assessment"] == "immediate"
    assert not offered(decision) & NON_REMOVABLE
    lesion.measurements.update(infection_signs=["warmth", "pus"])
    limb.person.visits.update(temperature_c=39, pulse_per_min=110)
    assert fact(advised(limb), "infection_grade").value == 4


def test_every_fact_of_blood_and_infection_says_what_set_it_and_when(limb, lesion):
    factories.finding(of=limb, found_on=ago(40), toe_pressure_mmhg=35)
    looked_at(lesion, 9, infection_signs=["warmth", "pus"], deep_infection=False)
    rows = {row.name: row for row in facts_of_limb(limb, TODAY(), {})[0].rows}
    assert "toe pressure 35 mmHg" in rows["ischaemia_grade"].note
    assert rows["ischaemia_grade"].state == "stands"
    assert "Nobody has looked again since" in rows["infection_grade"].note
    assert (rows["infection_grade"].value, rows["infection_grade"].found_on) == (2, ago(9))


def test_a_treating_cast_of_a_charcot_foot_is_not_withheld_for_its_warmth(limb, lesion, podiatrist):
    feet.clean_foot(lesion, charcot="active")
    lesion.measurements.update(
        infection_signs=["warmth", "redness", "swelling"],
        redness_mm=25,
        other_cause="charcot",
        deep_infection=False,
    )
    assert not advised(limb).foot.worst.non_removable_allowed
    lesion.measurements.update(created_by=podiatrist)
    decision = advised(limb)
    assert decision.foot.worst.non_removable_allowed
    assert "charcot_assessment" in refer(decision)
