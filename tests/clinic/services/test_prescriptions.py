"""Signing a device with copies of what was known; fitting, sealing, opening and stopping it."""

from datetime import timedelta
from unittest.mock import patch

import pytest
from django.utils import timezone

from clinic.models import AuditEvent, Prescription
from clinic.selectors.advice import limb_decision
from clinic.services import prescriptions as service
from clinic.services.errors import Conflict, Refused
from tests import factories

TODAY = timezone.localdate


@pytest.fixture
def limb(person):
    """A limb with one plantar forefoot ulcer and every fact known, so that a device that stays on comes first."""
    made = factories.limb(of=person)
    lesion = factories.lesion(on=made)
    factories.finding(
        of=made, toe_pressure_mmhg=75, deformity="small", rigid_deformity=False, flexible_toe_deformity=False,
        charcot="none", oedema="none", bulky_calf=False, fragile_skin=False,
    )  # fmt: skip
    person.circumstances.create(
        asked_on=TODAY(), high_falls_risk=False, cannot_attend_weekly=False, declines_non_removable=False,
        mobility="walks", created_by=factories.author(),
    )  # fmt: skip
    factories.measurement(at=factories.visit(of=person), of=lesion, infection_looked=True, infection_grade=1)
    return made


def answers(limb, **changed):
    lesion = limb.lesions.get()
    return {
        f"osteomyelitis_{lesion.pk}": False,
        "needs_frequent_dressing": False,
        "device_available": True,
        "non_surgical_care_failed": False,
        **changed,
    }


def sign(by, limb, **changed):
    decision = limb_decision(limb, TODAY(), answers(limb))
    given = {
        "device_class": decision.first_offered[0],
        "reason": "What the guidance puts first; she agrees.",
        "seen_digest": decision.digest,
        **changed,
    }
    return service.prescription_sign(
        by=by, limb=limb, lesions=list(limb.lesions.all()), decision=decision, prescribed_on=TODAY(), **given
    )


def test_with_every_fact_known_a_device_that_stays_on_comes_first(limb):
    decision = limb_decision(limb, TODAY(), answers(limb))
    assert set(decision.first_offered) == {"total_contact_cast", "walker_non_removable"}
    assert not decision.advice.missing


@pytest.mark.parametrize("fact", ["osteomyelitis", "ischaemia", "falls", "infection"])
def test_with_a_blocking_fact_unknown_none_that_stays_on_is_offered(limb, fact):
    given = answers(limb)
    if fact == "osteomyelitis":
        given = {name: value for name, value in given.items() if not name.startswith("osteomyelitis")}
    elif fact == "ischaemia":
        limb.findings.filter().update(toe_pressure_mmhg=None)
    elif fact == "falls":
        limb.person.circumstances.update(asked_on=TODAY() - timedelta(days=91))
    else:
        limb.person.visits.update(visited_on=TODAY() - timedelta(days=1))
    offered = {offer.id for offer in limb_decision(limb, TODAY(), given).advice.classes}
    assert offered
    assert not offered & {"total_contact_cast", "walker_non_removable"}


def test_perfusion_measured_before_a_revascularisation_is_not_counted(limb):
    limb.findings.update(found_on=TODAY() - timedelta(days=20))
    limb.events.create(
        kind="revascularisation", happened_on=TODAY() - timedelta(days=3), created_by=factories.author()
    )
    facts = limb_decision(limb, TODAY(), answers(limb)).facts[0]
    row = next(row for row in facts.rows if row.name == "ischaemia_grade")
    assert (row.state, row.value) == ("stale", None)
    assert "revascularisation since" in row.note


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


def fit(by, made, *, days=7, sealed=True):
    return service.prescription_fit(
        by=by,
        prescription=made,
        fitted_on=TODAY(),
        sealed=sealed,
        open_by=TODAY() + timedelta(days=days) if sealed else None,
        expected_version=made.version,
    )


@pytest.mark.parametrize(("days", "allowed"), [(1, True), (7, True), (8, False), (0, False)])
def test_the_first_sealing_is_opened_within_the_site_s_days(limb, podiatrist, days, allowed):
    made = sign(podiatrist, limb)
    if allowed:
        assert fit(podiatrist, made, days=days).open_by == TODAY() + timedelta(days=days)
    else:
        with pytest.raises(Refused, match="at the latest"):
            fit(podiatrist, made, days=days)


def test_opening_stops_the_clock_and_sealing_again_allows_the_longer_interval(limb, podiatrist):
    made = fit(podiatrist, sign(podiatrist, limb))
    service.prescription_open(
        by=podiatrist, prescription=made, opened_on=TODAY(), expected_version=made.version
    )
    made.refresh_from_db()
    assert made.opened_on == TODAY()
    assert fit(podiatrist, made, days=14).opened_on is None


def test_a_removable_device_is_never_sealed(limb, podiatrist):
    made = sign(podiatrist, limb, device_class="ankle_high_removable", departure_reason="skill")
    with pytest.raises(Refused, match="stays on"):
        fit(podiatrist, made)
    assert fit(podiatrist, made, sealed=False).sealed_on is None


def test_nothing_is_saved_when_the_audit_row_cannot_be(limb, podiatrist):
    with (
        patch("clinic.services.prescriptions.audit.record", side_effect=RuntimeError),
        pytest.raises(RuntimeError),
    ):
        sign(podiatrist, limb)
    assert not Prescription.objects.exists()
