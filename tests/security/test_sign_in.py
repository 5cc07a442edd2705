"""Signing in: lockout, second factor, sessions, and what ends them."""

from __future__ import annotations

from datetime import timedelta

import pytest
from axes.models import AccessAttempt
from django.conf import settings as live
from django.contrib.auth.password_validation import validate_password
from django.contrib.sessions.models import Session
from django.core.exceptions import ValidationError
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from django_otp.oath import TOTP
from django_otp.plugins.otp_totp.models import TOTPDevice

from clinic.accounts.writes import sessions
from clinic.demo.play import PASSWORD as DEMO_PASSWORD
from tests import factories

PASSWORD = "correct horse battery"


def sign_in(user, client=None, password=PASSWORD, **more):
    client = client or Client()
    answer = client.post(reverse("login"), {"username": user.username, "password": password, **more})
    return client, answer


def code_of(device, *, drift=0):
    totp = TOTP(device.bin_key, device.step, device.t0, device.digits, device.drift + drift)
    totp.time = timezone.now().timestamp()
    return f"{totp.token():06d}"


def enrolled(user):
    device = TOTPDevice.objects.create(user=user, confirmed=True)
    user.second_factor = True
    user.save()
    return device


def test_lockout_after_five_wrong_passwords_refuses_the_right_one_too(podiatrist):
    client = Client()
    for _ in range(5):
        sign_in(podiatrist, client, "wrong password here")
    _, answer = sign_in(podiatrist, client)
    assert answer.status_code == 429
    assert "15 minutes" in answer.content.decode()
    assert not client.session.get("_auth_user_id")


def test_lockout_ends_after_its_time_and_does_not_lock_a_colleague(podiatrist, staff):
    client = Client()
    for _ in range(5):
        sign_in(podiatrist, client, "wrong password here")
    assert sign_in(staff, Client())[1].status_code == 302
    AccessAttempt.objects.update(attempt_time=timezone.now() - timedelta(minutes=14))
    assert sign_in(podiatrist, client)[1].status_code == 429
    AccessAttempt.objects.update(attempt_time=timezone.now() - timedelta(minutes=16))
    assert sign_in(podiatrist, client)[1].status_code == 302


def test_a_forwarded_address_is_not_believed_without_a_proxy_of_ours(podiatrist):
    client = Client()
    for n in range(5):
        client.post(
            reverse("login"),
            {"username": podiatrist.username, "password": "no"},
            headers={"X-Forwarded-For": f"10.0.0.{n}"},
        )
    assert sign_in(podiatrist, client)[1].status_code == 429


def test_behind_a_proxy_the_address_is_the_last_one_it_added(settings, rf):
    from clinic.middleware import ProxyAddress

    settings.BEHIND_PROXY = True
    request = rf.get("/", headers={"X-Forwarded-For": "6.6.6.6, 10.1.2.3"})
    ProxyAddress(lambda r: r)(request)
    assert request.META["REMOTE_ADDR"] == "10.1.2.3"


def test_session_fixation_the_key_changes_at_sign_in_and_at_the_second_factor(podiatrist):
    device = enrolled(podiatrist)
    client = Client()
    client.get(reverse("login"))
    session = client.session
    session["planted"] = True
    session.save()
    client.cookies[live.SESSION_COOKIE_NAME] = session.session_key
    sign_in(podiatrist, client)
    after_password = client.cookies[live.SESSION_COOKIE_NAME].value
    assert after_password != session.session_key
    client.post(reverse("second_factor"), {"code": code_of(device)})
    assert client.cookies[live.SESSION_COOKIE_NAME].value != after_password
    assert not Session.objects.filter(session_key__in=[session.session_key, after_password]).exists()


def test_nothing_opens_between_password_and_second_factor(podiatrist):
    device = enrolled(podiatrist)
    client, _ = sign_in(podiatrist)
    for name in ("today", "people", "review", "me", "settings"):
        answer = client.get(reverse(name))
        assert answer.status_code == 302, name
        assert answer["Location"].startswith(reverse("second_factor")), name
    answer = client.get(reverse("people"), headers={"HX-Request": "true"})
    assert answer["HX-Redirect"].startswith(reverse("second_factor"))
    assert client.post(reverse("second_factor"), {"code": "000000"}).status_code == 422
    TOTPDevice.objects.update(throttling_failure_count=0, throttling_failure_timestamp=None)
    done = client.post(reverse("second_factor"), {"code": code_of(device), "next": "/people/"})
    assert done["Location"] == "/people/"
    assert client.get(reverse("people")).status_code == 200


def test_replay_a_time_code_is_accepted_once(podiatrist):
    device = enrolled(podiatrist)
    code = code_of(device)
    assert sessions.code_accept(by=podiatrist, code=code) is not None
    TOTPDevice.objects.update(throttling_failure_count=0, throttling_failure_timestamp=None)
    assert sessions.code_accept(by=podiatrist, code=code) is None


def test_wrong_codes_make_the_next_wait(podiatrist):
    device = enrolled(podiatrist)
    assert sessions.code_accept(by=podiatrist, code="000000") is None
    assert sessions.code_accept(by=podiatrist, code=code_of(device)) is None


def enrol(client, user):
    client.post(reverse("second_factor_enrol"), {"act": "start", "password": PASSWORD})
    device = TOTPDevice.objects.get(user=user, confirmed=False)
    return client.post(reverse("second_factor_enrol"), {"code": code_of(device), "password": PASSWORD})


def test_enrolling_shows_recovery_codes_once_and_each_opens_once(podiatrist):
    client, _ = sign_in(podiatrist)
    answer = enrol(client, podiatrist)
    codes = answer.context["codes"]
    assert len(set(codes)) == 10
    podiatrist.refresh_from_db()
    assert podiatrist.second_factor
    stored = podiatrist.staticdevice_set.get().token_set.values_list("token", flat=True)
    assert not set(stored) & {code.replace("-", "") for code in codes}
    assert sessions.code_accept(by=podiatrist, code=codes[3].upper()) is not None
    podiatrist.staticdevice_set.update(throttling_failure_count=0, throttling_failure_timestamp=None)
    assert sessions.code_accept(by=podiatrist, code=codes[3]) is None


def test_enrolling_asks_for_the_password_again(podiatrist):
    client, _ = sign_in(podiatrist)
    client.post(reverse("second_factor_enrol"), {"act": "start", "password": PASSWORD})
    device = TOTPDevice.objects.get()
    answer = client.post(reverse("second_factor_enrol"), {"code": code_of(device), "password": "stolen"})
    assert answer.status_code == 422
    assert not TOTPDevice.objects.filter(confirmed=True).exists()


def test_a_site_that_asks_for_it_lets_podiatrists_and_managers_only_enrol_but_not_staff(site):
    site.second_factor = True
    site.save()
    for role, asked in (("podiatrist", True), ("manager", True), ("staff", False)):
        client, _ = sign_in(factories.user(role, at=site))
        answer = client.get(reverse("people"))
        if asked:
            assert answer["Location"].startswith(reverse("second_factor_enrol")), role
        else:
            assert answer.status_code == 200


def test_a_manager_cannot_ask_for_it_before_having_it(as_manager, manager, site):
    assert as_manager.post(reverse("settings"), {"asked": "yes"}).status_code == 422
    site.refresh_from_db()
    assert not site.second_factor


def test_the_idle_timeout_survives_htmx(as_staff):
    """Idle longer than the site allows: htmx gets a whole-page redirect, and asking did not restart the
    clock.
    """
    session = as_staff.session
    Session.objects.filter(session_key=session.session_key).update(
        expire_date=timezone.now() - timedelta(seconds=1)
    )
    answer = as_staff.get(reverse("people"), headers={"HX-Request": "true"})
    assert answer.status_code == 200
    assert answer["HX-Redirect"].startswith(reverse("login"))
    assert as_staff.get(reverse("people")).status_code == 302


def test_the_idle_clock_restarts_at_most_once_a_minute(as_staff):
    as_staff.get(reverse("people"))
    first = as_staff.session["touched"]
    as_staff.get(reverse("people"))
    assert as_staff.session["touched"] == first


def test_a_sign_in_ends_after_the_longest_time_whatever_is_done_in_it(as_staff, settings):
    as_staff.get(reverse("people"))
    session = as_staff.session
    session["began"] = int(timezone.now().timestamp()) - settings.SESSION_LONGEST_SECONDS - 1
    session.save()
    assert as_staff.get(reverse("people")).status_code == 302
    assert as_staff.get(reverse("people")).status_code == 302


def test_signing_out_everywhere_else_ends_the_other_browsers(podiatrist):
    here, _ = sign_in(podiatrist)
    other, _ = sign_in(podiatrist)
    assert len(here.get(reverse("me")).context["sign_ins"]) == 2
    here.post(reverse("sign_out_other"), {"sign_in": "others", "password": PASSWORD})
    assert here.get(reverse("me")).status_code == 200
    assert other.get(reverse("me")).status_code == 302


@pytest.mark.parametrize("sent", [{}, {"password": ""}, {"password": "wrong"}])
def test_ending_a_sign_in_asks_for_the_password_again(podiatrist, sent):
    here, _ = sign_in(podiatrist)
    other, _ = sign_in(podiatrist)
    rows = podiatrist.sign_ins.order_by("pk")
    for which in ("others", *(str(row.pk) for row in rows)):
        refused = here.post(reverse("sign_out_other"), {"sign_in": which, **sent})
        assert refused.status_code == 422
    assert "wrong" not in refused.content.decode()
    assert other.get(reverse("me")).status_code == 200
    here.post(reverse("sign_out_other"), {"sign_in": rows.last().pk, "password": PASSWORD})
    assert other.get(reverse("me")).status_code == 302


def test_one_sign_in_can_be_ended_and_only_ones_own(podiatrist, staff):
    here, _ = sign_in(podiatrist)
    foreign, _ = sign_in(staff)
    row = staff.sign_ins.get()
    here.post(reverse("sign_out_other"), {"sign_in": row.pk, "password": PASSWORD})
    assert foreign.get(reverse("me")).status_code == 200


def test_changing_the_password_asks_for_the_old_one_and_ends_the_others(podiatrist):
    here, _ = sign_in(podiatrist)
    other, _ = sign_in(podiatrist)
    new = "seven purple lanterns drift"
    form = {"old": "wrong", "new": new, "again": new}
    assert here.post(reverse("me"), form).status_code == 422
    assert here.post(reverse("me"), {**form, "old": PASSWORD}).status_code == 302
    assert here.get(reverse("me")).status_code == 200
    assert other.get(reverse("me")).status_code == 302
    podiatrist.refresh_from_db()
    assert podiatrist.check_password(new)


@pytest.mark.parametrize(
    "password", ["short1234", "password12345", "ourclinic2026x", "marrowbeck-town", "x" * 129]
)
def test_poor_passwords_are_refused(password, db):
    with pytest.raises(ValidationError):
        validate_password(password)


def test_long_passphrases_with_spaces_and_any_letters_are_taken(db):
    validate_password("four unrelated wörter ß 汉字")


def test_demo_logins_never_work_in_production(site, settings):
    user = factories.user("manager", at=site, password=DEMO_PASSWORD)
    assert sign_in(user, password=DEMO_PASSWORD)[1].status_code == 302
    settings.PRODUCTION = True
    assert sign_in(user, password=DEMO_PASSWORD)[1].status_code == 422


def test_switching_the_user_comes_back_to_the_same_page_as_somebody_else(staff, podiatrist):
    tablet, _ = sign_in(staff)
    answer = tablet.post(reverse("switch_user"), {"next": "/people/"})
    assert answer["Location"] == f"{reverse('login')}?next=%2Fpeople%2F"
    page = tablet.get(answer["Location"])
    assert f"as={staff.username}" in page.content.decode()
    _, done = sign_in(podiatrist, tablet, next="/people/")
    assert done["Location"] == "/people/"
    assert int(tablet.session["_auth_user_id"]) == podiatrist.pk


def test_a_forged_list_of_seats_is_ignored(db):
    client = Client()
    client.cookies["seats"] = "WyJhZG1pbiJd:1:forged"
    assert client.get(reverse("login")).context["seats"] == []


@pytest.mark.parametrize(
    "bad",
    [
        "//evil.example/",
        "https://evil.example/",
        "/\\evil.example",
        "javascript:alert(1)",
        "\t//evil.example",
    ],
)
def test_open_redirect_the_next_address_stays_on_this_host(podiatrist, bad):
    _, answer = sign_in(podiatrist, next=bad)
    assert answer["Location"] == "/"
