"""Signing a device with copies of what was known."""

from datetime import timedelta
from unittest.mock import patch

import pytest
from django.core.exceptions import ValidationError
from django.utils import timezone

from clinic.devices.reads.advice import limb_decision, told_before
from clinic.devices.writes import prescriptions as writes
from clinic.devices.writes.fittings import steps_of
from clinic.models import AuditEvent, DecisionLine, Prescription, content_digest
from clinic.record.errors import Conflict, Refused
from tests import factories, feet
from tests.clinic.devices.writes.signing import TODAY, answers, sign


def test_with_every_fact_known_a_device_that_stays_on_comes_first(limb):
    decision = limb_decision(limb, TODAY(), answers())
    assert set(decision.first_offered) == {"total_contact_cast", "walker_non_removable"}
    assert not decision.advice.missing


@pytest.mark.parametrize("fact", ["osteomyelitis", "ischaemia", "falls", "infection"])
def test_with_a_blocking_fact_unknown_none_that_stays_on_is_offered(limb, fact):
    if fact == "osteomyelitis":
        limb.lesions.get().measurements.update(probe_to_bone=None)
    elif fact == "ischaemia":
        limb.findings.filter().update(toe_pressure_mmhg=None)
    elif fact == "falls":
        limb.person.circumstances.update(asked_on=TODAY() - timedelta(days=91))
    else:
        limb.person.visits.update(visited_on=TODAY() - timedelta(days=8))
    offered = {offer.id for offer in limb_decision(limb, TODAY(), answers()).advice.classes}
    assert offered
    assert not offered & {"total_contact_cast", "walker_non_removable"}


def test_perfusion_measured_before_a_revascularisation_is_not_counted(limb):
    limb.findings.update(found_on=TODAY() - timedelta(days=20))
    limb.events.create(
        kind="revascularisation", happened_on=TODAY() - timedelta(days=3), created_by=factories.author()
    )
    facts = limb_decision(limb, TODAY(), answers()).facts[0]
    row = next(row for row in facts.rows if row.name == "ischaemia_grade")
    assert (row.state, row.value) == ("stale", None)
    assert "Revascularised on" in row.note


def test_signing_keeps_copies_and_one_audit_row(limb, podiatrist):
    made = sign(podiatrist, limb)
    assert made.agrees is True
    assert made.facts["A"]["rows"][0]["value"] == "forefoot"
    assert made.advice["classes"][0]["id"] == made.first_offered
    assert AuditEvent.objects.filter(verb="prescribed").count() == 1
    limb.findings.update(toe_pressure_mmhg=20)
    made.refresh_from_db()
    grades = [row for row in made.facts["A"]["rows"] if row["name"] == "ischaemia_grade"]
    assert grades[0]["value"] == 0


def test_a_departure_needs_its_coded_reason(limb, podiatrist):
    with pytest.raises(Refused) as refused:
        sign(podiatrist, limb, device_class="ankle_high_removable")
    assert refused.value.field == "departure_reason"
    made = sign(podiatrist, limb, device_class="ankle_high_removable", departure_reason="person_declines")
    assert (made.agrees, made.departure_reason) == (False, "person_declines")


def test_a_choice_made_on_other_advice_is_sent_back(limb, podiatrist):
    with pytest.raises(Conflict, match="changed since"):
        sign(podiatrist, limb, seen_digest="0" * 64)


def test_while_a_red_flag_is_open_nothing_that_stays_on_is_chosen(limb, podiatrist):
    factories.red_flag(of=limb.person)
    with pytest.raises(Refused, match="red flag"):
        sign(podiatrist, limb, device_class="total_contact_cast")


def test_a_new_device_stops_the_one_before_and_says_why(limb, podiatrist):
    first = sign(podiatrist, limb)
    with pytest.raises(Refused) as refused:
        sign(podiatrist, limb)
    assert refused.value.field == "stop_reason"
    sign(podiatrist, limb, stop_reason="changed")
    first.refresh_from_db()
    assert (first.stopped_on, first.stop_reason) == (TODAY(), "changed")
    assert Prescription.objects.filter(stopped_on=None).count() == 1


def test_nothing_is_saved_when_the_audit_row_cannot_be(limb, podiatrist):
    with (
        patch("clinic.devices.writes.prescriptions.audit.record", side_effect=RuntimeError),
        pytest.raises(RuntimeError),
    ):
        sign(podiatrist, limb)
    assert not Prescription.objects.exists()


def test_skin_found_fragile_on_another_day_is_not_counted(limb):
    limb.findings.update(found_on=TODAY() - timedelta(days=1), fragile_skin=True)
    rows = {row.name: row for row in limb_decision(limb, TODAY(), answers()).facts[0].rows}
    assert (rows["fragile_skin"].state, rows["fragile_skin"].value) == ("stale", None)


def test_a_what_if_changes_the_advice_and_is_never_signed(limb, podiatrist):
    before = Prescription.objects.count(), limb.history.count()
    tried = limb_decision(limb, TODAY(), answers(), {"high_falls_risk": True})
    assert tried.what_if == ("high risk of falling: yes",)
    assert "total_contact_cast" not in {offer.id for offer in tried.advice.classes}
    assert limb.person.circumstances.get().high_falls_risk is False
    with pytest.raises(Refused, match="what-if"):
        writes.prescription_sign(
            by=podiatrist,
            limb=limb,
            lesions=list(limb.lesions.all()),
            decision=tried,
            prescribed_on=TODAY(),
            device_class="walker_knee_high_removable",
            reason="not the record",
            seen_digest=tried.digest,
        )
    assert (Prescription.objects.count(), limb.history.count()) == before


def test_the_signed_content_is_hashed_and_its_hash_stands_in_the_chain(limb, podiatrist):
    made = sign(podiatrist, limb)
    made.refresh_from_db()
    assert content_digest(made.content) == made.content_sha256
    assert made.content_sha256 in AuditEvent.objects.get(verb="prescribed").detail
    (line,) = DecisionLine.objects.all()
    assert line.content_sha256 == made.content_sha256
    assert line.digest == line.computed_digest()


def test_one_sentence_tells_who_what_why_under_which_edition_and_on_what_facts(limb, podiatrist):
    sign(podiatrist, limb, device_class="ankle_high_removable", departure_reason="person_declines")
    sentence = DecisionLine.objects.get().sentence
    for words in (
        f"{podiatrist}, podiatrist",
        "removable ankle-high device",
        "ulcer A (",
        "total contact cast or knee-high walker made non-removable first",
        "the patient declines it",
        "IWGDF offloading 2023",
        "infection grade (IWGDF/IDSA) 1",
        "high risk of falling no",
    ):
        assert words.lower() in sentence.lower(), words


def test_a_reason_against_the_advice_is_not_kept_where_nothing_departs(limb, podiatrist):
    assert sign(podiatrist, limb, departure_reason="skill").departure_reason == ""


def test_a_tighter_urgency_of_the_site_stands_in_the_record_and_a_looser_one_changes_nothing(
    limb, podiatrist
):
    limb.lesions.get().measurements.update(infection_signs=["redness", "pus"], redness_mm=30)
    limb.person.visits.update(temperature_c=39, pulse_per_min=110)
    limb.person.site.urgencies = {
        "infection_assessment": "one_working_day",
        "vascular_assessment": "immediate",
    }
    infection = {row["id"]: row for row in limb_decision(limb, TODAY(), answers()).refer}
    assert infection["infection_assessment"]["urgency"] == "immediate"
    limb.lesions.get().measurements.update(infection_signs=["warmth", "pus"], redness_mm=None)
    limb.person.visits.update(temperature_c=None, pulse_per_min=None)
    limb.person.site.urgencies = {"infection_assessment": "immediate"}
    (row,) = limb_decision(limb, TODAY(), answers()).refer
    assert (row["urgency"], row["site"]) == ("immediate", True)


def test_only_what_is_offered_beside_a_device_stands_beside_it(limb, podiatrist):
    with pytest.raises(Refused) as refused:
        sign(podiatrist, limb, beside=["toe_spacer"])
    assert refused.value.field == "beside"


def test_a_spacer_stands_beside_the_device_and_adds_its_own_steps(limb, podiatrist):
    other = factories.lesion(on=limb, place="web_3")
    factories.measurement(at=limb.person.visits.get(), of=other, exudate="light", **feet.CLEAN_LOOK)
    decision = limb_decision(limb, TODAY(), answers())
    made = writes.prescription_sign(
        by=podiatrist,
        limb=limb,
        lesions=list(limb.lesions.all()),
        decision=decision,
        prescribed_on=TODAY(),
        device_class="walker_knee_high_removable",
        beside=["toe_spacer"],
        reason="Walker for A, spacer for B.",
        seen_digest=decision.digest,
    )
    # No class serves both lesions: the best for each is put first, so this departs from nothing.
    assert set(decision.first_offered) == {"toe_spacer", "walker_knee_high_removable", "ankle_high_removable"}
    assert made.agrees is True
    assert made.content["beside"][0]["serves"] == ["B"]
    assert any("Web space dry" in step for step in steps_of(made))
    assert "with toe spacer beside it" in DecisionLine.objects.get().sentence


def test_answers_of_the_device_before_can_be_carried_over(limb, podiatrist):
    made = sign(podiatrist, limb)
    before = told_before(made, list(limb.lesions.all()))
    assert dict(before.answers) == {
        "needs_frequent_dressing": False,
        "device_available": True,
        "over_weight_limit": False,
    }
    assert before.on == TODAY()


def test_a_plan_is_carried_over_only_where_there_is_one_and_an_insole(limb, podiatrist):
    sign(podiatrist, limb, device_class="walker_knee_high_removable", departure_reason="skill")
    with pytest.raises(Refused, match="has none"):
        sign(podiatrist, limb, stop_reason="changed", carry_plan=True)


def test_the_database_itself_refuses_the_same_person_twice_and_a_fitting_before(limb, podiatrist):
    made = sign(podiatrist, limb)
    for fault in ({"second_by": podiatrist}, {"second_needed": True, "fitted_on": TODAY()}):
        for name, value in {"second_at": None, **fault}.items():
            setattr(made, name, value)
        if "second_by" in fault:
            made.second_at = timezone.now()
        with pytest.raises(ValidationError):
            made.full_clean()
        made.refresh_from_db()
