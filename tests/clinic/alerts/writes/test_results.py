"""A test is requested with owner and day, reported, seen by somebody, corrected and never deleted."""

from datetime import timedelta

import pytest
from django.utils import timezone

from clinic.alerts.writes.results import (
    result_correct,
    result_report,
    result_request,
    result_see,
    result_withdraw,
)
from clinic.models import RESULT_CHOICES, AuditEvent, Result
from clinic.record.errors import Conflict, Refused
from tests import factories, factories_care

pytestmark = pytest.mark.django_db

TODAY = timezone.localdate


def days(n):
    return TODAY() + timedelta(days=n)


def request(by, person, **changed):
    asked = {"kind": "crp", "requested_on": days(0), "due_on": days(2), "owner": by, **changed}
    return result_request(by=by, person=person, **asked)


def report(by, result, **changed):
    told = {"result_on": days(0), "value": 48, "reading": "abnormal", "expected_version": result.version}
    return result_report(by=by, result=result, **{**told, **changed})


def test_a_request_keeps_its_owner_and_one_audit_row(staff, person):
    lesion = factories.lesion(on=factories.limb(of=person))
    made = request(staff, person, lesion=lesion, what=" deep tissue ")
    assert (made.lesion, made.limb, made.owner, made.what) == (lesion, lesion.limb, staff, "deep tissue")
    assert (made.result_on, made.seen_on) == (None, None)
    assert AuditEvent.objects.get().verb == "requested"


@pytest.mark.parametrize(
    ("changed", "field"),
    [
        ({"requested_on": 1}, "requested_on"),
        ({"due_on": -1}, "due_on"),
        ({"kind": "ct"}, "kind"),
        ({"kind": "other"}, "what"),
    ],
)
def test_a_request_against_the_rules_names_its_field(staff, person, changed, field):
    given = {name: days(n) if isinstance(n, int) else n for name, n in changed.items()}
    with pytest.raises(Refused) as refused:
        request(staff, person, **given)
    assert refused.value.field == field
    assert not Result.objects.exists()


def test_another_persons_foot_and_another_clinics_user_are_refused(staff, person, other_site):
    stranger = factories.limb(of=factories.person(at=person.site))
    with pytest.raises(Refused, match="someone else"):
        request(staff, person, limb=stranger)
    with pytest.raises(Refused, match="does not work here"):
        request(staff, person, owner=factories.user("staff", at=other_site))


def test_a_value_out_of_bounds_and_a_day_before_the_request_are_refused(staff, person):
    result = factories_care.result(of=person)
    with pytest.raises(Refused, match="between 0 and 600 mg/L") as refused:
        report(staff, result, value=4800)
    assert refused.value.field == "value"
    with pytest.raises(Refused, match="between the request"):
        report(staff, result, result_on=days(-8))
    with pytest.raises(Refused, match="one is needed"):
        report(staff, result, reading="")
    result.refresh_from_db()
    assert result.result_on is None


def test_its_owner_or_a_podiatrist_sees_it_and_nobody_before_it_arrived(staff, podiatrist, person, site):
    other = factories.user("staff", at=site)
    for seer, may in ((staff, True), (podiatrist, True), (other, False)):
        result = factories_care.result(of=person, owner=staff)
        with pytest.raises(Refused, match="no result has arrived"):
            result_see(by=seer, result=result, follows="x", expected_version=1)
        report(other, result)
        if may:
            seen = result_see(by=seer, result=result, follows="again in a week", expected_version=2)
            assert (seen.seen_by, seen.seen_on) == (seer, TODAY())
        else:
            with pytest.raises(Refused, match="its owner"):
                result_see(by=seer, result=result, follows="x", expected_version=2)


def test_a_report_corrected_after_it_was_seen_waits_for_eyes_again(staff, person):
    result = report(staff, factories_care.result(of=person, owner=staff))
    result_see(by=staff, result=result, follows="nothing", expected_version=2)
    report(staff, result, value=148)
    result.refresh_from_db()
    assert (result.seen_on, result.seen_by, result.follows) == (None, None, "")
    assert result.history.count() >= 3


def test_a_withdrawn_request_is_kept_and_takes_nothing_more(staff, person):
    result = factories_care.result(of=person)
    result_withdraw(by=staff, result=result, withdrawn_because="done elsewhere", expected_version=1)
    assert Result.objects.get().withdrawn_on == TODAY()
    with pytest.raises(Refused, match="was withdrawn"):
        report(staff, result)


def test_a_request_is_handed_on_and_moved_with_a_reason_in_its_history(staff, podiatrist, person):
    result = factories_care.result(of=person)
    given = {
        "kind": "crp",
        "requested_on": result.requested_on,
        "due_on": days(4),
        "owner": podiatrist,
        "what": "",
        "limb": None,
        "lesion": None,
        "why": "laboratory closed",
    }
    result_correct(by=staff, result=result, expected_version=1, **given)
    assert result.history.first().history_change_reason == "laboratory closed"
    with pytest.raises(Conflict):
        result_correct(by=staff, result=result, expected_version=1, **given)
    report(staff, result)
    with pytest.raises(Refused, match="has arrived"):
        result_correct(by=staff, result=result, expected_version=result.version, **{**given, "kind": "esr"})


def test_every_kind_of_test_can_be_requested(staff, person):
    for kind, _ in RESULT_CHOICES:
        request(staff, person, kind=kind, what="named")
    assert Result.objects.count() == len(RESULT_CHOICES) == 11
