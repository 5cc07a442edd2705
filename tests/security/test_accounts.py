"""The life of an account in a manager's hands."""

from __future__ import annotations

import re
from datetime import timedelta

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from clinic.models import AccountLink, AuditEvent, Site, User
from tests import factories
from tests.security.test_sign_in import PASSWORD, enrolled, sign_in

NEW = "seven purple lanterns drift"


def invite(client, site, **more):
    form = {
        "username": "new.person",
        "first_name": "New",
        "last_name": "Person",
        "role": "staff",
        "sites": [site.pk],
        **more,
    }
    return client.post(reverse("account_new"), form)


def link_in(answer):
    return re.search(r'value="http://testserver(/account-link/[^"]+)"', answer.content.decode())[1]


def test_an_invitation_sets_a_password_once(as_manager, site):
    link = link_in(invite(as_manager, site))
    assert AuditEvent.objects.filter(verb="invited", target_kind="user").count() == 1
    visitor = Client()
    assert visitor.post(link, {"password": NEW, "again": NEW}).status_code == 302
    assert (
        visitor.post(
            link, {"password": "another purple lantern", "again": "another purple lantern"}
        ).status_code
        == 404
    )
    user = User.objects.get(username="new.person")
    assert sign_in(user, password=NEW)[1].status_code == 302
    assert not AccountLink.objects.filter(token_sha256__in=link).exists()


def test_a_link_ends_by_its_age_and_by_a_newer_one(as_manager, site):
    link = link_in(invite(as_manager, site))
    user = User.objects.get(username="new.person")
    newer = link_in(as_manager.post(reverse("account", args=[user.pk]), {"act": "reset"}))
    assert Client().get(link).status_code == 404
    AccountLink.objects.update(expires_at=timezone.now() - timedelta(seconds=1))
    assert Client().get(newer).status_code == 404


def test_a_reset_stops_the_old_password_and_signs_out(as_manager, staff):
    browser, _ = sign_in(staff)
    as_manager.post(reverse("account", args=[staff.pk]), {"act": "reset"})
    assert browser.get(reverse("people")).status_code == 302
    assert sign_in(staff)[1].status_code == 422


def change(client, user, site, **more):
    form = {
        "act": "change",
        "first_name": "Ann",
        "last_name": "Other",
        "role": user.role,
        "active": "on",
        "sites": [site.pk],
        **more,
    }
    return client.post(reverse("account", args=[user.pk]), {k: v for k, v in form.items() if v is not None})


def test_a_change_of_role_is_audited_and_signs_out(as_manager, staff, site):
    browser, _ = sign_in(staff)
    assert change(as_manager, staff, site, role="podiatrist").status_code == 302
    staff.refresh_from_db()
    assert staff.role == "podiatrist"
    assert browser.get(reverse("people")).status_code == 302
    assert '"role":["staff","podiatrist"]' in AuditEvent.objects.get(verb="changed").detail


def test_a_switched_off_account_cannot_sign_in(as_manager, staff, site):
    browser, _ = sign_in(staff)
    assert change(as_manager, staff, site, active=None).status_code == 302
    assert browser.get(reverse("people")).status_code == 302
    assert sign_in(staff)[1].status_code == 422


def test_a_manager_cannot_change_their_own_role_or_state(as_manager, manager, site):
    assert change(as_manager, manager, site, role="staff").status_code == 422
    assert change(as_manager, manager, site, active=None).status_code == 422


def test_a_manager_gives_only_their_own_sites_and_leaves_others_alone(as_manager, staff, site, other_site):
    staff.sites.add(other_site)
    assert change(as_manager, staff, site, sites=[site.pk, other_site.pk]).status_code == 422
    assert change(as_manager, staff, site).status_code == 302
    assert set(staff.sites.all()) == {site, other_site}


@pytest.mark.parametrize("role", ["staff", "podiatrist"])
def test_only_managers_reach_the_accounts(role, site, manager):
    client = Client()
    client.force_login(factories.user(role, at=site))
    for path in (reverse("accounts"), reverse("account_new"), reverse("account", args=[manager.pk])):
        assert client.get(path).status_code == 403


def test_mass_assignment_fields_outside_the_form_change_nothing(as_manager, as_staff, staff, site):
    extra = {
        "is_superuser": "on",
        "is_staff": "on",
        "username": "root",
        "password": "x",
        "second_factor": "on",
        "user_permissions": "1",
        "pk": "1",
        "id": "1",
    }
    assert change(as_manager, staff, site, **extra).status_code == 302
    before = (staff.username, staff.password)
    staff.refresh_from_db()
    assert (staff.is_superuser, staff.is_staff, staff.second_factor) == (False, False, False)
    assert staff.username == before[0]
    person = factories.person(at=site)
    as_staff.post(
        reverse("person_edit", args=[person.pk]),
        {
            "record_number": person.record_number,
            "given_name": "Ada",
            "family_name": "Changed",
            "birth_date": "1960-05-17",
            "diabetes_type": "type_2",
            "version": "1",
            "site": "999",
            "created_by": "1",
            "restricted_on": "2020-01-01",
            "state": "died",
        },
    )
    person.refresh_from_db()
    assert (person.site, person.restricted_on, person.state) == (site, None, "in_care")


def test_a_lost_second_factor_is_removed_by_a_manager_and_audited(as_manager, staff):
    staff.second_factor = True
    staff.save()
    as_manager.post(reverse("account", args=[staff.pk]), {"act": "second_factor"})
    staff.refresh_from_db()
    assert not staff.second_factor
    assert AuditEvent.objects.filter(verb="removed the second factor of").count() == 1


def test_a_new_password_does_not_go_round_the_second_factor(as_manager, podiatrist):
    enrolled(podiatrist)
    link = link_in(as_manager.post(reverse("account", args=[podiatrist.pk]), {"act": "reset"}))
    Client().post(link, {"password": NEW, "again": NEW})
    browser, _ = sign_in(podiatrist, password=NEW)
    assert browser.get(reverse("people"))["Location"].startswith(reverse("second_factor"))


def test_a_manager_sees_wrong_passwords_locks_ended_sign_ins_lists_and_files(
    as_manager, manager, staff, site, other_site
):
    stranger = factories.user("staff", at=other_site)
    for user, times in ((staff, 6), (stranger, 2)):
        for _ in range(times):
            sign_in(user, Client(), "wrong password here")
    client, _ = sign_in(manager, Client(REMOTE_ADDR="192.0.2.8"))
    sign_in(manager, Client(REMOTE_ADDR="192.0.2.9"))
    client.post(reverse("sign_out_other"), {"password": PASSWORD})
    person = factories.person(at=site)
    as_manager.get(reverse("people"))
    as_manager.get(reverse("audit_csv"), {"figure": "all"})
    page = as_manager.get(reverse("access_watch"))
    text = page.content.decode()
    (refused,) = page.context["refused"]
    assert (refused.user, refused.locked, refused.addresses) == (staff, True, 1)
    assert "locked now" in text
    assert "ended sign-ins of their own" in text
    assert [(row.page, count) for row, count in page.context["lists"]] == [("people", 1)]
    assert len(page.context["exports"]) == 1
    assert stranger.username not in text
    assert person.family_name not in text


def test_a_clinic_asks_for_the_second_factor_from_the_start():
    assert Site().second_factor
