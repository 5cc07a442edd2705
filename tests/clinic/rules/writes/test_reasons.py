"""Reasons in a clinic's own words: kept with history, never deleted, and past records keep the words they
had.
"""

from datetime import timedelta
from unittest.mock import patch

import pytest
from django.db import IntegrityError, transaction
from django.db.models import ProtectedError
from django.utils import timezone

from clinic.audit.reads.cases import AuditFilter
from clinic.audit.reads.page import audit_report
from clinic.devices.writes.wear import prescription_stop
from clinic.models import AuditEvent, DecisionLine, DepartureReason, Prescription, SiteReason, StopReason
from clinic.record.errors import Conflict, Refused
from clinic.rules.reads.reasons import amendments_of, choices_of, reason_of, reasons_of, uses_of
from clinic.rules.writes.reasons import reason_add, reason_change
from tests import factories
from tests.clinic.devices.writes.conftest import limb
from tests.clinic.devices.writes.signing import sign

__all__ = ["limb"]


def words(site, kind="departure"):
    return [told for _, told in choices_of(reasons_of(site)[kind])]


def add(by, site, **changed):
    given = {"kind": "departure", "words": "No bus on clinic days", "counts_as": "cannot_attend", **changed}
    return reason_add(by=by, site=site, **given)


def change(by, site, key, *, kind="departure", seen=0, retired=False, words=None):
    told = words or next(r.words for r in reasons_of(site)[kind] if r.key == key)
    return reason_change(by=by, site=site, kind=kind, key=key, words=told, retired=retired, seen=seen)


@pytest.mark.django_db
def test_without_rows_the_programs_reasons_are_given_and_the_last_is_other(site):
    assert words(site) == [str(label) for label in DepartureReason.labels]
    assert words(site, "stop") == [str(label) for label in StopReason.labels]


def test_a_reason_of_ones_own_is_offered_before_other_and_leaves_one_audit_row(site, other_site, manager):
    row = add(manager, site, words="  No bus   on clinic days ")
    assert words(site)[-2:] == ["No bus on clinic days", "Other"]
    assert "No bus on clinic days" not in words(other_site)
    event = AuditEvent.objects.get()
    assert (event.verb, event.target_kind, event.target_id) == ("added", "sitereason", str(row.pk))
    assert row.history.get().history_user == manager


def test_nothing_is_saved_when_the_audit_row_cannot_be(site, manager):
    with (
        patch("clinic.rules.writes.reasons.audit.record", side_effect=RuntimeError),
        pytest.raises(RuntimeError),
    ):
        add(manager, site)
    assert not SiteReason.objects.exists()
    assert not SiteReason.history.exists()


@pytest.mark.parametrize(
    ("changed", "field"),
    [
        ({"words": "no"}, "words"),
        ({"words": "x" * 81}, "words"),
        ({"words": "the PATIENT declines it"}, "words"),
        ({"counts_as": "healed"}, "counts_as"),
        ({"counts_as": ""}, "counts_as"),
        ({"kind": "wear"}, "kind"),
    ],
)
def test_a_reason_that_does_not_fit_is_refused_with_its_field(site, manager, changed, field):
    with pytest.raises(Refused) as refused:
        add(manager, site, **changed)
    assert refused.value.field == field
    assert not SiteReason.objects.exists()


def test_the_database_holds_the_rules_too(site, manager):
    add(manager, site)
    for wrong in (
        {"kind": "departure", "counts_as": "healed", "words": "other kind"},
        {"kind": "departure", "counts_as": "skill", "words": "NO BUS on clinic days"},
        {"kind": "departure", "counts_as": "skill", "words": ""},
    ):
        with pytest.raises(IntegrityError), transaction.atomic():
            SiteReason.objects.create(site=site, created_by=manager, **wrong)


def test_a_retired_reason_is_not_offered_and_can_come_back(site, manager):
    change(manager, site, "skill", retired=True)
    assert reason_of(site, "departure", "skill") is None
    assert str(DepartureReason.SKILL.label) not in words(site)
    row = SiteReason.objects.get()
    assert row.retired_at is not None
    with pytest.raises(Conflict):
        change(manager, site, "skill", retired=False, seen=row.version + 1)
    change(manager, site, "skill", retired=False, seen=row.version)
    assert reason_of(site, "departure", "skill").counts_as == "skill"
    assert [(a.old, a.new) for a in amendments_of(site)] == [
        ("Nobody trained to apply it (out of use)", "Nobody trained to apply it"),
        ("Nobody trained to apply it", "Nobody trained to apply it (out of use)"),
    ]
    with pytest.raises(Refused, match="Nothing was changed"):
        change(manager, site, "skill", seen=2)


@pytest.mark.parametrize(
    ("kind", "key"), [("departure", "other"), ("stop", "healed"), ("stop", "changed"), ("stop", "other")]
)
def test_what_the_figures_cannot_do_without_stays(site, manager, kind, key):
    with pytest.raises(Refused, match="stays"):
        change(manager, site, key, kind=kind, retired=True)


def test_a_signed_departure_counts_as_the_programs_reason_and_keeps_its_words(
    site, limb, podiatrist, manager
):
    row = add(manager, site)
    made = sign(podiatrist, limb, device_class="ankle_high_removable", departure_reason=f"own-{row.pk}")
    assert (made.departure_reason, made.departure_own, made.departure_words) == (
        "cannot_attend",
        row,
        "No bus on clinic days",
    )
    assert made.content["departure"] == {"code": "cannot_attend", "words": "No bus on clinic days"}
    assert "coded reason: no bus on clinic days" in DecisionLine.objects.get().sentence
    change(manager, site, f"own-{row.pk}", words="No transport", seen=row.version)
    made = Prescription.objects.get(pk=made.pk)
    assert made.departure_told == "No bus on clinic days"
    assert uses_of(site) == {row.pk: 1}
    with pytest.raises(ProtectedError):
        SiteReason.objects.get(pk=row.pk).delete()


def test_a_reworded_program_reason_is_kept_with_its_new_words_from_then_on(site, limb, podiatrist, manager):
    first = sign(podiatrist, limb, device_class="ankle_high_removable", departure_reason="skill")
    change(manager, site, "skill", words="Nobody who casts is in today")
    limb.refresh_from_db()
    second = sign(
        podiatrist, limb, device_class="ankle_high_removable", departure_reason="skill", stop_reason="changed"
    )
    assert first.departure_told == "Nobody trained to apply it"
    assert (second.departure_told, second.departure_reason) == ("Nobody who casts is in today", "skill")


def test_another_clinics_reason_and_a_retired_one_are_no_reasons(site, other_site, limb, podiatrist, manager):
    theirs = add(manager, other_site)
    mine = add(manager, site)
    change(manager, site, f"own-{mine.pk}", retired=True, seen=mine.version)
    for key in (f"own-{theirs.pk}", f"own-{mine.pk}", "own-0", "bus"):
        with pytest.raises(Refused) as refused:
            sign(podiatrist, limb, device_class="ankle_high_removable", departure_reason=key)
        assert refused.value.field == "departure_reason"


def test_a_device_stops_for_a_reason_of_the_clinics_own(site, limb, podiatrist, manager):
    row = add(manager, site, kind="stop", words="Came apart at the sole", counts_as="broken")
    made = sign(podiatrist, limb)
    stopped = prescription_stop(
        by=podiatrist,
        prescription=made,
        stopped_on=timezone.localdate(),
        stop_reason=f"own-{row.pk}",
        expected_version=made.version,
    )
    assert (stopped.stop_reason, stopped.stop_own, stopped.stop_told) == (
        "broken",
        row,
        "Came apart at the sole",
    )
    assert DecisionLine.objects.get(kind="stopped").sentence.endswith("came apart at the sole.")


def test_the_audit_counts_an_own_reason_within_the_one_it_counts_as(site, manager):
    row = add(manager, site)
    today = timezone.localdate()
    for n, told in enumerate(("No bus on clinic days", "No bus on clinic days", "")):
        factories.prescription(
            of=factories.limb(of=factories.person(at=site)),
            prescribed_on=today - timedelta(days=n + 1),
            agrees=False,
            agreement="departed",
            departure_reason="cannot_attend",
            departure_words=told,
            departure_own=row if told else None,
        )
    asked = AuditFilter(sites=(site,), since=today - timedelta(days=30), until=today)
    report = audit_report(asked, today)
    (reason,) = report.reasons
    assert (reason.words, reason.departed.count) == ("Cannot attend as often as it needs", 3)
    ((told, figure),) = reason.own
    assert (told, figure.count) == ("No bus on clinic days", 2)
    assert report.figures[f"reason_own.{row.pk}"].count == 2
