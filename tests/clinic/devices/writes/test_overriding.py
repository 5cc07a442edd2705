"""A device that stays on against a known danger: two clinicians, a confirmation before sealing, and dangers
that nobody overrides.
"""

from datetime import timedelta

import pytest
from django.core.exceptions import ValidationError
from django.utils import timezone

from clinic.devices.reads.advice import limb_decision
from clinic.devices.writes import prescriptions as writes
from clinic.devices.writes import wear
from clinic.devices.writes.overriding import override_confirm, override_telephone
from clinic.models import DecisionLine, Prescription
from clinic.record.errors import Refused
from clinic.week.reads.today import today_lists
from tests import factories
from tests.clinic.devices.writes.signing import TODAY, answers, fit, sign

WALKER, CAST = "walker_non_removable", "total_contact_cast"
CLEAN = {"deep_infection": False, "probe_to_bone": False, "unwell": False}


@pytest.fixture
def ischaemic(limb):
    """Everything is known of this foot, and its toe pressure is 25."""
    limb.findings.update(toe_pressure_mmhg=25, dorsalis_pedis="present", posterior_tibial="present")
    limb.person.visits.get().measurements.update(**CLEAN)
    return limb


def choose(by, limb, device=WALKER, **told):
    decision = limb_decision(limb, TODAY(), answers())
    assert device not in {offer.id for offer in decision.advice.classes}
    given = {
        "departure_reason": "finding_not_in_rules",
        "reason": "Team agreed; no bypass is possible.",
        **told,
    }
    return writes.prescription_sign(
        by=by,
        limb=limb,
        lesions=list(limb.lesions.all()),
        decision=decision,
        seen_digest=decision.digest,
        device_class=device,
        prescribed_on=TODAY(),
        **given,
    )


def by_telephone(by, made, **told):
    given = {
        "second_name": "Dr Ines Falk",
        "second_role": "vascular surgeon on call",
        "second_telephone": "000 4455",
        "spoken_at": timezone.now(),
        **told,
    }
    return override_telephone(by=by, prescription=made, expected_version=made.version, **given)


def confirm(by, made):
    return override_confirm(
        by=by, prescription=made, second_confirmed_how="letter of today", expected_version=made.version
    )


def waiting(site, reader):
    morning = today_lists(site, TODAY(), signer=reader).morning
    return [row.person for row in morning.signatures], [
        (row.person, row.asks[0].kind) for row in morning.confirmations
    ]


@pytest.mark.parametrize("device", [WALKER, CAST])
def test_a_known_danger_needs_a_second_signature_and_stands_in_the_signed_words(
    ischaemic, podiatrist, device
):
    made = choose(podiatrist, ischaemic, device)
    assert made.overriding
    assert made.second_needed
    assert made.agreement == "departed"
    assert made.content["against"]
    assert "against a known danger" in DecisionLine.objects.get(kind="signed").sentence


def test_a_device_the_advice_offers_is_no_override(limb, podiatrist):
    limb.person.visits.get().measurements.update(**CLEAN)
    made = sign(podiatrist, limb)
    assert not made.overriding
    assert not made.second_needed


@pytest.mark.parametrize("device", ["walker_knee_high_removable", "felted_foam_with_footwear", "toe_spacer"])
def test_a_less_protective_choice_takes_a_coded_reason_alone(limb, podiatrist, device):
    decision = limb_decision(limb, TODAY(), answers())
    made = writes.prescription_sign(
        by=podiatrist,
        limb=limb,
        lesions=list(limb.lesions.all()),
        decision=decision,
        seen_digest=decision.digest,
        device_class=device,
        departure_reason="person_declines",
        reason="She will not have the cast.",
        prescribed_on=TODAY(),
    )
    assert not made.overriding
    assert not made.second_needed


@pytest.mark.parametrize("reason", ["person_declines", "cannot_attend", "fact_missing"])
def test_a_reason_for_a_lesser_device_is_no_reason_for_a_withheld_one(ischaemic, podiatrist, reason):
    with pytest.raises(Refused) as refused:
        choose(podiatrist, ischaemic, departure_reason=reason)
    assert refused.value.field == "departure_reason"
    assert not Prescription.objects.exists()


@pytest.mark.parametrize(
    ("about", "words"),
    [
        ({"deep_infection": True, "infection_signs": ["pus"]}, "abscess"),
        ({"dead_tissue": True}, "gangrene"),
        ({"dvt_suspected": True}, "thrombosis"),
        ({"toe_pressure_mmhg": None}, "perfusion"),
        ({"probe_to_bone": True}, "bone"),
        ({"unwell": True}, "fever"),
    ],
)
def test_what_bars_and_what_is_not_known_is_refused_with_its_sentence(ischaemic, podiatrist, about, words):
    columns = {field.name for field in ischaemic.findings.model._meta.concrete_fields}
    ischaemic.findings.update(**{k: v for k, v in about.items() if k in columns})
    seen = {k: v for k, v in about.items() if k not in columns}
    if seen:
        ischaemic.person.visits.get().measurements.update(**seen)
    with pytest.raises(Refused) as refused:
        choose(podiatrist, ischaemic)
    assert refused.value.field == "device_class"
    assert words in refused.value.message
    assert not Prescription.objects.exists()


def test_any_registered_clinician_but_the_signer_signs_second_and_no_manager(ischaemic, podiatrist, site):
    made = choose(podiatrist, ischaemic)
    assistant = factories.user("staff", at=site)
    nurse = factories.user("staff", at=site, registered_as="nurse")
    manager = factories.user("manager", at=site, registered_as="nurse")
    for nobody in (podiatrist, assistant, manager):
        with pytest.raises(Refused):
            writes.prescription_second(by=nobody, prescription=made, expected_version=made.version)
    writes.prescription_second(by=nurse, prescription=made, expected_version=made.version)
    assert made.second_confirmed_at
    assert not made.stays_unsealed


def test_a_plain_second_signature_stays_a_podiatrists(limb, podiatrist, site):
    site.second_signature = True
    site.save()
    limb.person.refresh_from_db()
    made = sign(podiatrist, limb)
    nurse = factories.user("staff", at=site, registered_as="nurse")
    with pytest.raises(Refused):
        writes.prescription_second(by=nurse, prescription=made, expected_version=made.version)
    with pytest.raises(Refused):
        by_telephone(podiatrist, made)


def test_nothing_is_fitted_before_anybody_signed_second(ischaemic, podiatrist):
    made = choose(podiatrist, ischaemic)
    with pytest.raises(Refused):
        fit(podiatrist, made, sealed=False)


def test_by_telephone_a_walker_is_worn_unsealed_until_it_is_confirmed(ischaemic, podiatrist):
    made = by_telephone(podiatrist, choose(podiatrist, ischaemic))
    with pytest.raises(Refused) as refused:
        fit(podiatrist, made)
    assert refused.value.field == "sealed"
    made.refresh_from_db()
    wear.prescription_fit(
        by=podiatrist,
        prescription=made,
        fitted_on=TODAY(),
        sealed=False,
        open_by=None,
        expected_version=made.version,
    )
    assert made.fitted_on
    assert made.sealed_on is None
    confirm(podiatrist, made)
    fit(podiatrist, made)
    assert made.sealed_on


def test_a_cast_cannot_be_worn_unsealed(ischaemic, podiatrist):
    made = by_telephone(podiatrist, choose(podiatrist, ischaemic, CAST))
    with pytest.raises(Refused) as refused:
        wear.prescription_fit(
            by=podiatrist,
            prescription=made,
            fitted_on=TODAY(),
            sealed=False,
            open_by=None,
            expected_version=made.version,
        )
    assert "walker" in refused.value.message


@pytest.mark.parametrize(
    ("told", "field"),
    [
        ({"second_name": " "}, "second_name"),
        ({"second_role": ""}, "second_role"),
        ({"second_telephone": ""}, "second_telephone"),
        ({"spoken_at": timezone.now() + timedelta(hours=2)}, "spoken_at"),
        ({"spoken_at": timezone.now() - timedelta(days=3)}, "spoken_at"),
    ],
)
def test_a_telephone_signature_names_person_role_number_and_time(ischaemic, podiatrist, told, field):
    made = choose(podiatrist, ischaemic)
    with pytest.raises(Refused) as refused:
        by_telephone(podiatrist, made, **told)
    assert refused.value.field == field
    made.refresh_from_db()
    assert made.second_at is None


def test_today_asks_for_the_signature_then_for_the_confirmation_and_stops_past_two_working_days(
    ischaemic, podiatrist, site
):
    made = choose(podiatrist, ischaemic)
    assert waiting(site, podiatrist) == ([ischaemic.person], [])
    by_telephone(podiatrist, made)
    assert waiting(site, podiatrist) == ([], [(ischaemic.person, "ask")])
    Prescription.objects.update(second_at=timezone.now() - timedelta(days=8))
    assert waiting(site, podiatrist) == ([], [(ischaemic.person, "stop")])
    made.refresh_from_db()
    confirm(podiatrist, made)
    assert waiting(site, podiatrist) == ([], [])


def test_the_database_itself_refuses_sealing_before_the_confirmation(ischaemic, podiatrist):
    made = by_telephone(podiatrist, choose(podiatrist, ischaemic))
    made.sealed_on, made.open_by = TODAY(), TODAY() + timedelta(days=3)
    with pytest.raises(ValidationError) as refused:
        made.validate_constraints()
    assert "confirmed" in str(refused.value)
