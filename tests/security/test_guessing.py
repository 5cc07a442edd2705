"""Passwords and names that are guessed, and keys that were noted."""

from __future__ import annotations

import re

import pytest
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.test import Client
from django.urls import reverse
from django_otp.plugins.otp_totp.models import TOTPDevice

from clinic.accounts.writes.accounts import account_invite
from clinic.capture.forms.trace import RingsField
from clinic.capture.writes.measurement import parts_of
from clinic.config import proxy
from clinic.record.errors import Refused
from clinic.visits.forms.measurement import OutlineField
from tests import factories
from tests.security.test_sign_in import PASSWORD, code_of, sign_in


def secret_on(page):
    found = re.search(r"Key: <strong>([A-Z2-7 ]+)</strong>", page.content.decode())
    return found.group(1) if found else None


def test_each_enrolment_shows_a_new_key_and_none_without_the_password(podiatrist):
    client, _ = sign_in(podiatrist)
    page = reverse("second_factor_enrol")
    assert secret_on(client.get(page)) is None
    assert secret_on(client.post(page, {"act": "start", "password": "stolen tablet"})) is None
    shown = [secret_on(client.post(page, {"act": "start", "password": PASSWORD})) for _ in range(3)]
    assert len(set(shown)) == 3
    assert None not in shown
    wrong = client.post(page, {"code": "000000", "password": PASSWORD})
    assert (wrong.status_code, secret_on(wrong)) == (422, shown[-1])
    client.get(page)
    assert not TOTPDevice.objects.filter(user=podiatrist).exists()


def test_a_key_noted_before_a_password_change_opens_nothing_after_it(podiatrist):
    client, _ = sign_in(podiatrist)
    client.post(reverse("second_factor_enrol"), {"act": "start", "password": PASSWORD})
    noted = TOTPDevice.objects.get(user=podiatrist, confirmed=False)
    new = "four quiet lanterns by tide"
    client.post(reverse("me"), {"old": PASSWORD, "new": new, "again": new})
    answer = client.post(reverse("second_factor_enrol"), {"code": code_of(noted), "password": new})
    assert answer.status_code == 200
    podiatrist.refresh_from_db()
    assert not podiatrist.second_factor


QUESTIONS = {
    "me": {"old": "wrong word", "new": "four quiet lanterns", "again": "four quiet lanterns"},
    "sign_out_other": {"password": "wrong word"},
    "second_factor_enrol": {"act": "start", "password": "wrong word"},
    "login": {"username": "", "password": "wrong word"},
}


@pytest.mark.parametrize("page", QUESTIONS)
def test_every_question_for_a_password_locks_after_five_and_writes_a_line(podiatrist, page, caplog):
    client, _ = sign_in(podiatrist)
    if page == "login":
        client = Client()
    words = {**QUESTIONS[page], **({"username": podiatrist.username} if page == "login" else {})}
    answers = [client.post(reverse(page), words).status_code for _ in range(6)]
    assert answers[:4] == [200 if code == 200 else 422 for code in answers[:4]]
    assert answers[-1] == 429
    if page != "login":
        assert caplog.text.count("password refused") >= 5
        right = {key: PASSWORD if value == "wrong word" else value for key, value in words.items()}
        assert client.post(reverse(page), right).status_code == 429


def test_guessing_one_name_from_many_addresses_is_slowed_and_its_owner_is_not(podiatrist, monkeypatch):
    waits = []
    monkeypatch.setattr("clinic.accounts.passwords.pause", waits.append)
    owner, _ = sign_in(podiatrist)
    for n in range(40):
        guess = {"username": podiatrist.username, "password": "wrong word"}
        Client(REMOTE_ADDR=f"198.51.100.{n}").post(reverse("login"), guess)
    assert len(waits) == 30
    assert waits == sorted(waits)
    assert 0 < waits[0] < waits[-1] <= 2
    waits.clear()
    owner.post(reverse("logout"))
    assert sign_in(podiatrist, owner)[1].status_code == 302
    assert waits == []
    # From a new device its owner waits, and gets in.
    fresh = Client(REMOTE_ADDR="203.0.113.9")
    assert sign_in(podiatrist, fresh)[1].status_code == 302
    assert len(waits) == 1


@pytest.mark.parametrize(
    "form", ["{}", "{}:51824", " {} ", '"{}"', "::ffff:{}", "[::ffff:{}]:4711", '"[::ffff:{}]:4711"']
)
def test_a_proxy_that_writes_a_port_beside_the_address_does_not_split_the_lock(form):
    assert str(proxy.address_of(form.format("192.0.2.7"))) == "192.0.2.7"


@pytest.mark.parametrize("form", ["2001:db8::1", "[2001:db8::1]", "[2001:db8::1]:80", "2001:db8::1%eth0"])
def test_forms_of_a_long_address_are_one(form):
    assert str(proxy.address_of(form)) == "2001:db8::1"


@pytest.mark.parametrize(
    "name",
    [
        "m\u0430ra",  # Cyrillic a
        "\u043c\u0430r\u0430",
        "\uff4dara",  # full width
        "MARA",
        "m\u0227ra",  # a dot above
        "rnara",
        "m\u03b1ra",  # Greek alpha
    ],
)
def test_a_name_that_looks_like_another_is_refused(manager, site, name):
    factories.user("staff", at=site, username="mara")
    with pytest.raises(Refused, match="User name"):
        account_invite(by=manager, username=name, first_name="M", last_name="A", role="staff", sites=[site])
    account_invite(by=manager, username="marah", first_name="M", last_name="A", role="staff", sites=[site])


@pytest.mark.parametrize(
    "password",
    ["inkpenmaraink", "mara.inkpen.mara.inkpen", "MaraInkpen2026!", "alder lane 123", "maramaramaramara"],
)
def test_a_password_of_ones_own_words_is_refused(site, password):
    user = factories.user("staff", at=site, username="mara.inkpen", first_name="Mara", last_name="Inkpen")
    with pytest.raises(ValidationError):
        validate_password(password, user)
    validate_password("four quiet lanterns by mara", user)


ENDLESS = ["1" * 400, "1e308", "-1e308", "1e999", "NaN", "Infinity"]


@pytest.mark.parametrize("number", ENDLESS)
@pytest.mark.parametrize("shape", ["[[{0}, 1], [2, 3], [4, 5]]", "[[[[1, 2], [{0}, 4], [5, 6]]]]"])
def test_an_outline_of_endless_numbers_is_refused_in_words(number, shape):
    text = shape.format(number)
    for field in (RingsField(label="Outline"), OutlineField(label="Outline")):
        with pytest.raises(ValidationError, match="Outline"):
            field.clean(text)


def test_an_outline_of_too_many_points_is_refused_before_it_is_read(monkeypatch):
    def read(*_):
        raise AssertionError("a point was read")

    monkeypatch.setattr("clinic.capture.writes.measurement._point", read)
    for many in ([[1, 2]] * 150_000, [[[[1, 2]] * 4000, [[1, 2]] * 4000]], [[[[1, 2]]]] * 50):
        with pytest.raises(Refused, match="at most 30 parts and 6000 points"):
            parts_of(many)
