"""Registering people, correcting them, their state, weight and circumstances."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.utils import timezone

from clinic.models import AuditEvent, Circumstances, Limb, Person, Weight
from clinic.people.writes.people import (
    circumstances_add,
    person_correct,
    person_register,
    person_set_state,
    weight_add,
)
from clinic.record.errors import Conflict, Refused
from clinic.record.writes import audit
from tests import factories

NEW = {
    "record_number": "N001",
    "given_name": "Orla",
    "family_name": "Inventova",
    "birth_date": date(1955, 3, 9),
}


def days_ago(n):
    return timezone.localdate() - timedelta(days=n)


def register(by, site, **fields):
    return person_register(by=by, site=site, **{**NEW, **fields})


@pytest.fixture
def audit_down(monkeypatch):
    def refuse(**_):
        raise RuntimeError("the chain is closed")

    monkeypatch.setattr(audit, "record", refuse)


def test_a_registered_person_has_both_feet_a_weight_and_one_audit_row(staff, site):
    made = register(staff, site, kg=Decimal("82.5"), how="scales", measured_on=days_ago(1))
    assert sorted(made.limbs.values_list("side", flat=True)) == ["left", "right"]
    assert made.weights.get().kg == Decimal("82.5")
    assert made.created_by == staff
    event = AuditEvent.objects.get()
    assert (event.verb, event.target_kind, event.person_id) == ("registered", "person", made.pk)


def test_nothing_is_registered_when_the_audit_row_cannot_be_written(staff, site, audit_down):
    with pytest.raises(RuntimeError):
        register(staff, site, kg=Decimal("82"), how="scales")
    assert not Person.objects.exists()
    assert not Limb.objects.exists()
    assert not Weight.objects.exists()


def test_nothing_is_registered_when_the_weight_is_refused(staff, site):
    with pytest.raises(Refused) as refused:
        register(staff, site, kg=Decimal("82"), how="scales", measured_on=date(1950, 1, 1))
    assert refused.value.field == "measured_on"
    assert not Person.objects.exists()


def test_a_record_number_in_use_is_refused_by_name(staff, site):
    register(staff, site)
    with pytest.raises(Refused, match="N001 already belongs to Orla Inventova, born 9 Mar 1955") as refused:
        register(staff, site, given_name="Bo")
    assert refused.value.field == "record_number"


def test_another_clinic_may_use_the_same_record_number(staff, site, other_site):
    register(staff, site)
    assert register(staff, other_site).record_number == "N001"


@pytest.mark.parametrize(
    "birth", [timezone.localdate() + timedelta(days=1), date(timezone.localdate().year - 122, 1, 1)]
)
def test_an_impossible_birth_date_is_refused_at_its_field(staff, site, birth):
    with pytest.raises(Refused) as refused:
        register(staff, site, birth_date=birth)
    assert refused.value.field == "birth_date"


def test_a_correction_names_the_changed_fields_and_keeps_the_old_copy(staff, person):
    person_correct(by=staff, person=person, expected_version=1, why="misheard", family_name="Heardright")
    person.refresh_from_db()
    assert (person.family_name, person.version) == ("Heardright", 2)
    assert person.history.first().history_change_reason == "misheard"
    assert '"fields":["family_name"]' in AuditEvent.objects.get().detail


def test_a_correction_that_changes_nothing_writes_nothing(staff, person):
    person_correct(by=staff, person=person, expected_version=1, family_name=person.family_name)
    person.refresh_from_db()
    assert person.version == 1
    assert not AuditEvent.objects.exists()


def test_a_correction_on_an_old_copy_is_a_conflict_and_overwrites_nothing(staff, person):
    person_correct(by=staff, person=person, expected_version=1, telephone="000 1")
    stale = Person.objects.get(pk=person.pk)
    with pytest.raises(Conflict):
        person_correct(by=staff, person=stale, expected_version=1, telephone="000 2")
    person.refresh_from_db()
    assert person.telephone == "000 1"
    assert AuditEvent.objects.count() == 1


def test_moving_away_needs_its_day_and_leaves_lesions_open(staff, person):
    lesion = factories.lesion(on=factories.limb(of=person))
    with pytest.raises(Refused) as refused:
        person_set_state(by=staff, person=person, state="moved", state_on=None, expected_version=1)
    assert refused.value.field == "state_on"
    person_set_state(by=staff, person=person, state="moved", state_on=days_ago(2), expected_version=1)
    lesion.refresh_from_db()
    assert lesion.state == "open"
    assert AuditEvent.objects.count() == 1


def test_back_in_care_has_no_day(staff, person):
    person_set_state(by=staff, person=person, state="moved", state_on=days_ago(2), expected_version=1)
    person_set_state(by=staff, person=person, state="in_care", state_on=days_ago(2), expected_version=2)
    assert person.state_on is None


def test_a_weight_is_recorded_once_even_if_sent_twice(staff, person):
    weight_add(by=staff, person=person, kg=Decimal("82"), how="scales", measured_on=days_ago(0))
    with pytest.raises(Refused, match="recorded already"):
        weight_add(by=staff, person=person, kg=Decimal("82"), how="scales", measured_on=days_ago(0))
    assert person.weights.count() == 1
    assert AuditEvent.objects.count() == 1


def test_a_weight_out_of_bounds_is_refused_by_the_database_rule_too(staff, person):
    with pytest.raises(Refused, match="between 20 and 300"):
        weight_add(by=staff, person=person, kg=Decimal("301"), how="scales", measured_on=days_ago(0))
    assert not person.weights.exists()


def test_circumstances_keep_what_was_not_asked_empty(staff, person):
    row = circumstances_add(by=staff, person=person, asked_on=days_ago(0), high_falls_risk=False, mobility="")
    assert row.high_falls_risk is False
    assert row.poor_sight is None
    assert AuditEvent.objects.get().target_kind == "circumstances"


def test_circumstances_without_an_answer_are_refused(staff, person):
    with pytest.raises(Refused, match="Nothing was answered"):
        circumstances_add(by=staff, person=person, asked_on=days_ago(0), high_falls_risk=None, mobility="")
    assert not Circumstances.objects.exists()
