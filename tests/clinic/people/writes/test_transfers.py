"""A record handed from one clinic to another: asked, accepted, declined, withdrawn, sent back; and where
it counts.
"""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.db import transaction
from django.utils import timezone

from clinic.accounts.writes.erasure import person_erase
from clinic.audit.reads.cases import BASES, AuditFilter
from clinic.audit.reads.figures import ALL_BASES
from clinic.audit.reads.outcomes import OutcomesFilter, outcomes_of
from clinic.models import AuditEvent, Lesion, Person, Prescription, RedFlag, Transfer, Visit
from clinic.people.writes.people import weight_add
from clinic.people.writes.transfers import (
    transfer_accept,
    transfer_ask,
    transfer_decline,
    transfer_undo,
    transfer_withdraw,
)
from clinic.record.errors import Refused
from clinic.record.writes import audit
from clinic.week.reads.today import today_lists
from tests import factories
from tests.clinic.people.two_records import digest, merge, record, twice

pytestmark = pytest.mark.django_db


@pytest.fixture
def there(other_site):
    """A podiatrist of the clinic that is asked."""
    return factories.user("podiatrist", at=other_site)


@pytest.fixture
def known(site):
    return Person.objects.get(pk=record(site).pk)


@pytest.fixture
def asked(known, staff, other_site):
    return transfer_ask(by=staff, person=known, to_site=other_site, because="Moved to the other town.")


def figures(*sites):
    """Counts of every kind of case of the audit, and the outcomes."""
    today = timezone.localdate()
    about = AuditFilter(sites=tuple(sites), since=today - timedelta(days=400), until=today)
    courses = OutcomesFilter(sites=tuple(sites), since=today - timedelta(days=400), until=today)
    return {key: base.rows(about, today).count() for key, base in ALL_BASES.items()} | {
        "outcomes": outcomes_of(courses, today).total
    }


def morning(site):
    now = timezone.localtime()
    lists = today_lists(site, now.date(), now)
    people = set()
    for rows in (lists.due, lists.overdue, lists.morning.flags, lists.morning.no_date):
        people |= {row.person.pk for row in rows}
    return people


def test_asking_moves_nothing_and_leaves_one_row(asked, known, site):
    known.refresh_from_db()
    assert known.site == site
    event = AuditEvent.objects.latest("pk")
    assert (event.site_id, event.verb, event.person_id) == (site.pk, "asked to transfer", known.pk)
    assert AuditEvent.objects.filter(target_kind="transfer").count() == 1


def test_what_cannot_be_asked_is_refused(asked, known, staff, site, other_site):
    with pytest.raises(Refused, match="awaits an answer"):
        transfer_ask(by=staff, person=known, to_site=other_site, because="Again.")
    one = factories.person(at=site)
    with pytest.raises(Refused, match="at this clinic already"):
        transfer_ask(by=staff, person=one, to_site=site, because="Stays.")
    with pytest.raises(Refused, match="in words why"):
        transfer_ask(by=staff, person=one, to_site=other_site, because=" ")
    gone = factories.person(at=site, state="moved", state_on=timezone.localdate())
    with pytest.raises(Refused, match="in care"):
        transfer_ask(by=staff, person=gone, to_site=other_site, because="Gone.")
    kept = factories.person(at=site, restricted_on=timezone.localdate(), restricted_because="Art. 18")
    with pytest.raises(Refused, match="restricted"), transaction.atomic():
        transfer_ask(by=staff, person=kept, to_site=other_site, because="Moved.")


def test_accepting_moves_everything_that_is_open_and_todays_lists_follow(
    asked, known, there, site, other_site
):
    assert known.pk in morning(site)
    assert known.pk not in morning(other_site)
    transfer_accept(by=there, transfer=asked, record_number="B-17")
    known.refresh_from_db()
    assert (known.site, known.record_number) == (other_site, "B-17")
    assert RedFlag.objects.visible_to(there).filter(answer="").count() == 1
    assert Prescription.objects.visible_to(there).get(stopped_on=None).limb.person == known
    assert known.pk not in morning(site)
    assert known.pk in morning(other_site)


def test_accepting_leaves_one_row_in_each_chain(asked, there, site, other_site):
    before = AuditEvent.objects.count()
    transfer_accept(by=there, transfer=asked, record_number="B-17")
    rows = AuditEvent.objects.order_by("pk")[before:]
    assert {(row.site_id, row.verb) for row in rows} == {
        (site.pk, "accepted the transfer of"),
        (other_site.pk, "accepted the transfer of"),
    }
    assert len(rows) == 2
    assert not list(audit.faults(site.pk))
    assert not list(audit.faults(other_site.pk))


def test_nothing_moves_when_the_audit_row_fails(asked, known, there, site, monkeypatch):
    before = digest(known)

    def broken(**_):
        raise RuntimeError("no room")

    monkeypatch.setattr("clinic.people.writes.transfers.audit.record", broken)
    with pytest.raises(RuntimeError), transaction.atomic():
        transfer_accept(by=there, transfer=asked, record_number="B-17")
    assert digest(known) == before
    asked.refresh_from_db()
    assert asked.state == "asked"


def test_only_the_clinic_that_was_asked_answers_and_only_the_one_that_asked_withdraws(
    asked, there, podiatrist
):
    with pytest.raises(Refused, match="Only somebody of"):
        transfer_accept(by=podiatrist, transfer=asked, record_number="B-17")
    with pytest.raises(Refused, match="Only somebody of"):
        transfer_decline(by=podiatrist, transfer=asked, note="No.")
    with pytest.raises(Refused, match="Only somebody of"):
        transfer_withdraw(by=there, transfer=asked)


def test_declined_and_withdrawn_end_it_and_leave_the_person_where_they_are(
    asked, known, there, staff, site, other_site
):
    transfer_decline(by=there, transfer=asked, note="No room before May.")
    again = transfer_ask(by=staff, person=known, to_site=other_site, because="Asked once more.")
    transfer_withdraw(by=staff, transfer=again)
    for done in (asked, again):
        with pytest.raises(Refused, match="already"):
            transfer_accept(by=there, transfer=done, record_number="B-17")
    known.refresh_from_db()
    assert known.site == site
    assert set(Transfer.objects.values_list("state", flat=True)) == {"declined", "withdrawn"}


def test_a_number_that_is_taken_there_is_refused_at_its_field(asked, there, other_site):
    factories.person(at=other_site, record_number="B-17")
    with pytest.raises(Refused, match="B-17") as refused:
        transfer_accept(by=there, transfer=asked, record_number="B-17")
    assert refused.value.field == "record_number"


def test_the_figures_of_the_first_clinic_do_not_change(asked, known, there, site, other_site):
    neighbour = record(site, side="right")
    before, empty, both = figures(site), figures(other_site), figures(site, other_site)
    assert before["prescription"] == 2
    assert before["visit"] == 4
    assert before["outcomes"] == 2
    transfer_accept(by=there, transfer=asked, record_number="B-17")
    assert figures(site) == before
    assert figures(other_site) == empty
    assert figures(site, other_site) == both
    # What is decided from now on counts where it is decided.
    visit = factories.visit(of=known, on=timezone.localdate())
    assert figures(other_site)["visit"] == 1
    assert figures(site)["visit"] == before["visit"]
    assert visit.counts_for is None
    assert neighbour.visits.filter(counts_for=None).count() == 2


def test_every_base_of_the_audit_reads_rows_that_keep_their_clinic():
    for key, base in BASES.items():
        today = timezone.localdate()
        rows = base.rows(AuditFilter(sites=(factories.site(),), since=today, until=today), today)
        assert any(field.name == "counts_for" for field in rows.model._meta.fields), key


def test_sent_back_everything_is_as_it_was(asked, known, there, site, other_site):
    before, counted = digest(known), figures(site)
    done = transfer_accept(by=there, transfer=asked, record_number="B-17")
    assert digest(known) != before
    rows = AuditEvent.objects.count()
    transfer_undo(by=there, transfer=done, because="Came back the same day.")
    assert digest(known) == before
    assert figures(site) == counted
    assert AuditEvent.objects.count() == rows + 2
    assert not Visit.objects.exclude(counts_for=None).exists()
    with pytest.raises(Refused, match="nothing to send back"):
        transfer_undo(by=there, transfer=done, because="Again.")


def test_sending_back_is_refused_once_something_was_written_there(asked, known, there, staff):
    done = transfer_accept(by=there, transfer=asked, record_number="B-17")
    with pytest.raises(Refused, match="Only somebody of"):
        transfer_undo(by=staff, transfer=done, because="Wants it back.")
    known.refresh_from_db()
    with transaction.atomic():
        weight_add(by=there, person=known, kg=80, measured_on=timezone.localdate(), how="scales")
    with pytest.raises(Refused, match="A weight was written"):
        transfer_undo(by=there, transfer=done, because="Came back.")


def test_there_and_back_by_two_transfers_each_clinic_counts_what_it_did(
    asked, known, there, staff, site, other_site
):
    transfer_accept(by=there, transfer=asked, record_number="B-17")
    known.refresh_from_db()
    factories.visit(of=known)
    back = transfer_ask(by=there, person=known, to_site=site, because="Moved back.")
    transfer_accept(by=factories.user("manager", at=site), transfer=back, record_number="A-1")
    factories.visit(of=known, on=timezone.localdate() - timedelta(days=1))
    assert figures(other_site)["visit"] == 1
    assert figures(site)["visit"] == 3


def test_a_merged_record_goes_along_and_its_erasure_too(
    append_only, site, other_site, staff, podiatrist, there
):
    kept, emptied = twice(site)
    merge(podiatrist, kept, emptied)
    kept.refresh_from_db()
    asked = transfer_ask(by=staff, person=kept, to_site=other_site, because="Moved house.")
    transfer_accept(by=there, transfer=asked, record_number="B-17")
    emptied.refresh_from_db()
    assert emptied.site == other_site
    kept.refresh_from_db()
    manager = factories.user("manager", at=other_site)
    person_erase(by=manager, person=kept, typed_number="B-17", ground="Request of 3 May, Art. 17")
    assert not Person.objects.filter(pk__in=[kept.pk, emptied.pk]).exists()
    assert not Transfer.objects.exists()
    assert not Transfer.history.exists()
    assert not Lesion.objects.exists()
