"""A referral is made once and chased in order."""

from datetime import timedelta
from unittest.mock import patch

import pytest
from django.utils import timezone

from clinic.alerts.writes.referrals import referral_follow, referral_make
from clinic.models import AuditEvent, Referral
from clinic.record.errors import Conflict, Refused
from tests import factories


def hours_ago(hours):
    return timezone.now() - timedelta(hours=hours)


def make(person, by, **fields):
    return referral_make(
        by=by,
        person=person,
        **{
            "to": "vascular",
            "urgency": "planned",
            "because": "no pulse felt",
            "made_at": hours_ago(48),
            **fields,
        },
    )


def follow(referral, by, **fields):
    told = {name: getattr(referral, name) for name in ("reached_at", "accepted_at", "seen_on", "result")}
    return referral_follow(by=by, referral=referral, expected_version=referral.version, **{**told, **fields})


def test_making_one_leaves_one_row_of_the_chain(person, staff):
    lesion = factories.lesion(on=factories.limb(of=person))
    made = make(person, staff, lesion=lesion)
    assert Referral.objects.get() == made
    event = AuditEvent.objects.get()
    assert (event.verb, event.target_kind, event.person_id) == ("made", "referral", person.pk)


def test_each_step_is_told_with_what_changed(person, staff):
    made = make(person, staff)
    follow(made, staff, reached_at=hours_ago(40))
    follow(made, staff, accepted_at=hours_ago(30), seen_on=timezone.localdate())
    follow(made, staff, result="stent planned")
    made.refresh_from_db()
    assert (made.result, made.version, made.history.count()) == ("stent planned", 4, 4)
    assert '"changes":{"result":["","stent planned"]}' in AuditEvent.objects.latest("pk").detail


@pytest.mark.parametrize(
    ("step", "field"),
    [
        ({"reached_at": hours_ago(49)}, "reached_at"),
        ({"accepted_at": hours_ago(49)}, "accepted_at"),
        ({"reached_at": hours_ago(10), "accepted_at": hours_ago(11)}, "accepted_at"),
        ({"seen_on": (timezone.localtime(hours_ago(48)) - timedelta(days=1)).date()}, "seen_on"),
    ],
)
def test_steps_out_of_order_are_refused(person, staff, step, field):
    made = make(person, staff)
    with pytest.raises(Refused) as refused:
        follow(made, staff, **step)
    assert refused.value.field == field
    assert AuditEvent.objects.count() == 1


def test_nothing_new_is_no_step(person, staff):
    made = make(person, staff)
    with pytest.raises(Refused, match="Nothing new"):
        follow(made, staff)


def test_a_future_time_or_someone_elses_lesion_is_refused(person, staff):
    with pytest.raises(Refused, match="future"):
        make(person, staff, made_at=hours_ago(-1))
    with pytest.raises(Refused, match="someone else"):
        make(person, staff, lesion=factories.lesion())
    assert not Referral.objects.exists()


def test_a_stale_page_overwrites_nothing(person, staff):
    made = make(person, staff)
    follow(made, staff, result="seen and sent back")
    with pytest.raises(Conflict):
        referral_follow(
            by=staff,
            referral=made,
            reached_at=None,
            accepted_at=None,
            seen_on=None,
            result="other",
            expected_version=1,
        )
    made.refresh_from_db()
    assert made.result == "seen and sent back"


def test_nothing_is_saved_when_the_audit_row_cannot_be(person, staff):
    with (
        patch("clinic.alerts.writes.referrals.audit.record", side_effect=RuntimeError),
        pytest.raises(RuntimeError),
    ):
        make(person, staff)
    assert not Referral.objects.exists()
