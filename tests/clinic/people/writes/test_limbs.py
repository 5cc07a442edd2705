"""A foot's lengths and dated findings."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.utils import timezone

from clinic.models import AuditEvent, LimbFinding
from clinic.people.writes.limbs import finding_add, limb_correct
from clinic.record.errors import Conflict, Refused
from clinic.record.writes import audit
from tests import factories


@pytest.fixture
def limb(person):
    return factories.limb(of=person)


def correct(by, limb, **fields):
    given = {
        "foot_length_mm": Decimal("262"),
        "foot_breadth_mm": Decimal("101"),
        "amputation": "none",
        "expected_version": 1,
        **fields,
    }
    return limb_correct(by=by, limb=limb, **given)


def test_lengths_are_stored_with_one_audit_row(staff, limb):
    correct(staff, limb)
    limb.refresh_from_db()
    assert (limb.foot_length_mm, limb.foot_breadth_mm, limb.version) == (262, 101, 2)
    assert AuditEvent.objects.get().verb == "corrected"


def test_lengths_are_not_stored_without_their_audit_row(staff, limb, monkeypatch):
    def refuse(**_):
        raise RuntimeError("the chain is closed")

    monkeypatch.setattr(audit, "record", refuse)
    with pytest.raises(RuntimeError):
        correct(staff, limb)
    limb.refresh_from_db()
    assert limb.foot_length_mm == 260


@pytest.mark.parametrize("length", ["119.9", "350.1"])
def test_a_foot_length_out_of_bounds_is_refused(staff, limb, length):
    with pytest.raises(Refused, match="between 120 and 350"):
        correct(staff, limb, foot_length_mm=Decimal(length))


def test_a_foot_broader_than_long_is_refused_with_both_values(staff, limb):
    with pytest.raises(Refused, match="140 mm; it must be less than the length, 130 mm") as refused:
        correct(staff, limb, foot_length_mm=Decimal("130"), foot_breadth_mm=Decimal("140"))
    assert refused.value.field == "foot_breadth_mm"


def test_lengths_from_an_old_page_are_a_conflict(staff, limb):
    correct(staff, limb)
    with pytest.raises(Conflict):
        correct(staff, limb, expected_version=1)
    assert AuditEvent.objects.count() == 1


def test_a_finding_keeps_what_was_not_looked_at_empty(staff, limb):
    row = finding_add(
        by=staff, limb=limb, found_on=timezone.localdate(), dorsalis_pedis="absent", toe_pressure_mmhg=None
    )
    assert row.dorsalis_pedis == "absent"
    assert row.toe_pressure_mmhg is None
    assert row.posterior_tibial == ""
    assert '"looked":["dorsalis_pedis"]' in AuditEvent.objects.get().detail


def test_a_finding_with_nothing_looked_at_is_refused(staff, limb):
    with pytest.raises(Refused, match="Nothing was looked at"):
        finding_add(by=staff, limb=limb, found_on=timezone.localdate(), charcot="", note="only a note")
    assert not LimbFinding.objects.exists()


def test_more_sites_felt_than_tested_is_refused_with_the_limit(staff, limb):
    with pytest.raises(Refused, match="given as 9; it cannot exceed the 5 tested") as refused:
        finding_add(
            by=staff, limb=limb, found_on=timezone.localdate(), monofilament_tested=5, monofilament_felt=9
        )
    assert refused.value.field == "monofilament_felt"


def test_sites_felt_without_sites_tested_is_refused(staff, limb):
    with pytest.raises(Refused) as refused:
        finding_add(by=staff, limb=limb, found_on=timezone.localdate(), monofilament_felt=9)
    assert refused.value.field == "monofilament_tested"


@pytest.mark.parametrize("day", [date(1960, 5, 16), timezone.localdate() + timedelta(days=1)])
def test_a_finding_before_birth_or_in_the_future_is_refused(staff, limb, day):
    with pytest.raises(Refused) as refused:
        finding_add(by=staff, limb=limb, found_on=day, charcot="none")
    assert refused.value.field == "found_on"


def test_the_same_findings_sent_twice_are_stored_once(staff, limb):
    given = {"found_on": timezone.localdate(), "charcot": "none", "ankle_index": Decimal("0.84")}
    finding_add(by=staff, limb=limb, **given)
    with pytest.raises(Refused, match="recorded already"):
        finding_add(by=staff, limb=limb, **given)
    assert LimbFinding.objects.count() == 1
