"""The referral pages."""

from datetime import timedelta

import pytest
from django.utils import timezone

from clinic.models import AuditEvent, Referral
from tests import factories


def stamp(hours_ago):
    return (timezone.localtime() - timedelta(hours=hours_ago)).strftime("%Y-%m-%dT%H:%M")


@pytest.fixture
def referral(person, staff):
    return Referral.objects.create(
        person=person,
        to="vascular",
        urgency="planned",
        because="no pulse felt",
        made_at=timezone.now() - timedelta(hours=72),
        created_by=staff,
    )


def test_made_by_the_page_and_then_followed_up(as_staff, person):
    lesion = factories.lesion(on=factories.limb(of=person))
    sent = as_staff.post(
        f"/people/{person.pk}/referrals/new/",
        {"to": "acute", "urgency": "immediate", "lesion": lesion.pk, "because": "fever", "made_at": stamp(5)},
    )
    made = Referral.objects.get()
    assert (sent.status_code, sent["Location"]) == (302, f"/referrals/{made.pk}/")
    page = as_staff.get(sent["Location"]).content.decode()
    assert "Has not reached them" in page
    assert "Late by 5 hours." in page
    step = {"reached_at": stamp(4), "accepted_at": "", "seen_on": "", "result": "", "version": made.version}
    assert as_staff.post(sent["Location"], step).status_code == 302
    assert "Not accepted yet" in as_staff.get(sent["Location"]).content.decode()
    assert AuditEvent.objects.count() == 2


def test_a_time_sent_back_as_it_was_shown_is_no_change(as_staff, referral):
    referral.reached_at = timezone.now() - timedelta(hours=50)
    referral.save()
    page = as_staff.get(f"/referrals/{referral.pk}/")
    shown = page.context["form"]["reached_at"].value().astimezone(timezone.get_current_timezone())
    sent = as_staff.post(
        f"/referrals/{referral.pk}/",
        {
            "reached_at": shown.strftime("%Y-%m-%dT%H:%M"),
            "version": referral.version,
            "result": "clinic letter",
        },
    )
    assert sent.status_code == 302
    assert '"changes":{"result"' in AuditEvent.objects.get().detail


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"made_at": stamp(-2)}, "the latest possible is now"),
        ({"to": ""}, "This field is required"),
        ({"urgency": "soon"}, "Select a valid choice"),
    ],
)
def test_a_fault_keeps_what_was_typed(as_staff, person, fields, words):
    sent = as_staff.post(
        f"/people/{person.pk}/referrals/new/",
        {"to": "acute", "urgency": "immediate", "because": "kept words", "made_at": stamp(1), **fields},
    )
    assert sent.status_code == 422
    assert words in sent.content.decode()
    assert "kept words" in sent.content.decode()
    assert not Referral.objects.exists()


def test_another_persons_lesion_is_no_choice(as_staff, person):
    stranger = factories.lesion()
    sent = as_staff.post(
        f"/people/{person.pk}/referrals/new/",
        {"to": "acute", "urgency": "immediate", "lesion": stranger.pk, "because": "x", "made_at": stamp(1)},
    )
    assert sent.status_code == 422


def test_a_manager_reads_but_writes_nothing(as_manager, person, referral):
    page = as_manager.get(f"/referrals/{referral.pk}/")
    assert page.status_code == 200
    assert "Save the follow-up" not in page.content.decode()
    assert as_manager.post(f"/referrals/{referral.pk}/", {"version": 1, "result": "x"}).status_code == 403
    assert as_manager.get(f"/people/{person.pk}/referrals/new/").status_code == 403


def test_another_site_is_not_there(as_staff, other_site):
    stranger = factories.person(at=other_site)
    theirs = Referral.objects.create(
        person=stranger,
        to="other",
        urgency="planned",
        because="x",
        made_at=timezone.now(),
        created_by=factories.author(),
    )
    assert as_staff.get(f"/referrals/{theirs.pk}/").status_code == 404
    assert as_staff.get(f"/people/{stranger.pk}/referrals/new/").status_code == 404
