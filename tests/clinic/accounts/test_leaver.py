"""Nobody's account is switched off over work that then belongs to nobody."""

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from clinic.accounts.reads.open_work import work_of
from clinic.accounts.writes.accounts import account_change, account_invite
from clinic.models import AccountLink, ItemState, NonHealingItem, Result
from clinic.record.errors import Refused
from tests import factories, factories_care


@pytest.fixture
def leaver(site):
    return factories.user("staff", at=site, first_name="Nora", last_name="Leaver")


@pytest.fixture
def work(leaver, person):
    lesion = factories.lesion(on=factories.limb(of=person))
    result = factories_care.result(of=person, owner=leaver)
    review = factories_care.non_healing(of=lesion, due={"perfusion": timezone.localdate()})
    item = review.items.get(state=ItemState.DUE)
    type(item).objects.filter(pk=item.pk).update(owner=leaver)
    factories.visit(of=person, unfinished=True, created_by=leaver)
    return result, item


def off(manager, leaver, site, **more):
    given = {"first_name": "Nora", "last_name": "Leaver", "role": "staff", "sites": [site], "active": False}
    return account_change(by=manager, user=leaver, **{**given, **more})


def test_switching_off_hands_everything_owned_to_a_colleague(manager, leaver, work, site, podiatrist):
    with pytest.raises(Refused) as refused:
        off(manager, leaver, site)
    assert refused.value.field == "hand_to"
    leaver.refresh_from_db()
    assert leaver.is_active
    off(manager, leaver, site, hand_to=podiatrist)
    assert not work_of(leaver, [site.pk]).owned
    assert {Result.objects.get().owner, NonHealingItem.objects.get(state="due").owner} == {podiatrist}


def test_leaving_a_clinic_hands_over_what_is_there_only(manager, leaver, work, site, other_site, podiatrist):
    manager.sites.add(other_site)
    leaver.sites.add(other_site)
    there = factories_care.result(of=factories.person(at=other_site), owner=leaver)
    off(manager, leaver, site, sites=[other_site], active=True, hand_to=podiatrist)
    there.refresh_from_db()
    assert there.owner == leaver
    assert not work_of(leaver, [site.pk]).owned


@pytest.mark.parametrize("heir", ["elsewhere", "manager", "self"])
def test_it_goes_to_a_clinician_who_works_there(manager, leaver, work, site, other_site, heir):
    chosen = {"elsewhere": factories.user("staff", at=other_site), "manager": manager, "self": leaver}[heir]
    with pytest.raises(Refused) as refused:
        off(manager, leaver, site, hand_to=chosen)
    assert refused.value.field == "hand_to"


def test_the_page_shows_the_open_work(work, leaver, as_manager):
    shown = as_manager.get(reverse("account", args=[leaver.pk])).content.decode()
    assert "Open work of this account" in shown
    assert "Visit of" in shown


def test_an_expired_invitation_no_longer_waits(manager, site, as_manager):
    account_invite(by=manager, username="ida.b", first_name="Ida", last_name="B", role="staff", sites=[site])
    assert b"waits" in as_manager.get(reverse("accounts")).content
    AccountLink.objects.update(expires_at=timezone.now() - timedelta(hours=1))
    shown = as_manager.get(reverse("accounts")).content
    assert b"waits" not in shown
    assert b"its link has expired" in shown
