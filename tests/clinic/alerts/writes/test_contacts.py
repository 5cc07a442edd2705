from datetime import timedelta

import pytest
from django.utils import timezone

from clinic.alerts.writes.contacts import contact_log
from clinic.models import AuditEvent, Contact
from clinic.record.errors import Refused
from clinic.record.writes import audit
from tests import factories

pytestmark = pytest.mark.django_db


def days(n):
    return timezone.localdate() + timedelta(days=n)


def test_an_attempt_is_stored_with_one_audit_row(staff, person):
    contact = contact_log(by=staff, person=person, how="telephone", result="not_reached", note="rang out")
    assert contact.note == "rang out"
    assert AuditEvent.objects.get().verb == "tried to reach"


def test_an_agreed_date_replaces_that_of_the_latest_standing_visit(staff, person):
    latest = factories.visit(of=person, on=days(-7), attendance="did_not_come")
    factories.visit(of=person, on=days(-3), state="in_error", error_reason="wrong patient")
    contact_log(by=staff, person=person, how="telephone", result="reached", next_on=days(2))
    latest.refresh_from_db()
    assert (latest.next_on, latest.version) == (days(2), 2)


@pytest.mark.parametrize("visited", [True, False])
def test_a_date_that_cannot_be_is_refused_and_nothing_is_stored(staff, person, visited):
    if visited:
        factories.visit(of=person, on=days(-7))
    with pytest.raises(Refused) as refused:
        contact_log(by=staff, person=person, how="letter", result="message", next_on=days(-1))
    assert refused.value.field == "next_on"
    assert Contact.objects.count() == 0


def test_nothing_is_stored_when_the_audit_row_fails(staff, person, monkeypatch):
    def fails(**_):
        raise RuntimeError("no audit")

    monkeypatch.setattr(audit, "record", fails)
    with pytest.raises(RuntimeError):
        contact_log(by=staff, person=person, how="letter", result="message")
    assert Contact.objects.count() == 0
