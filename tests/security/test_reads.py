"""Who saw whom: every answer that shows a person leaves a row in the log of reads."""

from __future__ import annotations

import threading
from datetime import date, timedelta

import pytest
from django.db import connection
from django.urls import reverse
from django.utils import timezone

from clinic.accounts.writes.breakglass import glass_break
from clinic.models import AuditEvent, BreakGlass, Person, Transfer, User, ViewEvent
from clinic.people.writes.transfers import transfer_accept, transfer_ask
from clinic.record.errors import Refused
from tests import factories
from tests.test_access import records, signed_in

pytestmark = pytest.mark.django_db


def test_a_list_is_one_row_with_its_people(site, staff):
    people = [factories.person(at=site) for _ in range(3)]
    signed_in(staff).get(reverse("people"))
    row = ViewEvent.objects.get()
    assert row.person_id is None
    assert sorted(map(int, row.listed.strip(",").split(","))) == [one.pk for one in people]


def test_an_export_after_a_transfer_holds_no_number_of_the_other_clinic(site, other_site, manager):
    row = records(site)
    person = Person.objects.get(pk=row["person"])
    Transfer.objects.filter(person=person, state="asked").update(
        state="withdrawn", answered_at=timezone.now()
    )
    own = person.record_number
    podiatrist = factories.user("podiatrist", at=other_site)
    asked = transfer_ask(
        by=factories.user("staff", at=site), person=person, to_site=other_site, because="moved to that town"
    )
    transfer_accept(by=podiatrist, transfer=asked, record_number="FOREIGN-77")
    client = signed_in(manager)
    for name in ("audit_csv", "audit_json"):
        text = client.get(reverse(name), {"figure": "all"}).content.decode()
        assert own in text, name
        assert "FOREIGN-77" not in text, name


def test_wrong_guesses_behind_the_glass_are_few_and_told_to_ones_own_clinic_only(
    site, other_site, monkeypatch
):
    guest = factories.user("podiatrist", at=other_site)
    person = factories.person(at=site)
    words = {
        "by": guest,
        "site": site,
        "record_number": person.record_number,
        "reason": "found in the street",
    }
    for n in range(5):
        with pytest.raises(Refused, match="No patient of that clinic"):
            glass_break(birth_date=date(1970, 1, n + 1), **words)
    with pytest.raises(Refused, match="5 searches in a day"):
        glass_break(birth_date=person.birth_date, **words)
    assert AuditEvent.objects.filter(site_id=other_site.pk).count() == 5
    assert not AuditEvent.objects.filter(site_id=site.pk).exists()
    later = timezone.now() + timedelta(days=1, minutes=1)
    monkeypatch.setattr("django.utils.timezone.now", lambda: later)
    assert glass_break(birth_date=person.birth_date, **words).person_id == person.pk


@pytest.mark.django_db(transaction=True)
def test_requests_at_one_moment_do_not_pass_the_limit_together():
    site, other = factories.site(), factories.site()
    guest = factories.user("podiatrist", at=other)
    people = [factories.person(at=site) for _ in range(14)]
    opened, start = [], threading.Barrier(len(people))

    def ask(person):
        start.wait()
        try:
            opened.append(
                glass_break(
                    by=User.objects.get(pk=guest.pk),
                    site=site,
                    record_number=person.record_number,
                    birth_date=person.birth_date,
                    reason="a row of accidents",
                )
            )
        except Refused:
            pass
        finally:
            connection.close()

    threads = [threading.Thread(target=ask, args=[person]) for person in people]
    for one in threads:
        one.start()
    for one in threads:
        one.join()
    assert len(opened) == BreakGlass.objects.count() == 10
