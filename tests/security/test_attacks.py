"""Attacks that no other file tries: forged sessions, names of files, secrets in answers, keys, seals."""

from __future__ import annotations

import base64
import pickle
import random
from datetime import timedelta
from importlib import import_module

import pytest
from django import forms
from django.conf import settings as test_settings
from django.contrib.auth.hashers import make_password
from django.contrib.sessions.backends.db import SessionStore
from django.contrib.sessions.models import Session
from django.core import signing
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from django_otp.plugins.otp_static.models import StaticToken
from django_otp.plugins.otp_totp.models import TOTPDevice

from clinic.accounts.sealed_files import MAGIC, SealFault, seal, unseal
from clinic.accounts.writes import digests, sessions
from clinic.accounts.writes.accounts import link_make
from clinic.accounts.writes.postgres_copy import conninfo
from clinic.config import settings as live
from clinic.models import AccountLink, LinkPurpose, PersonKey, Photo, PhotoConsent, User
from clinic.record.writes import audit
from tests import factories
from tests.security.test_faults import picture
from tests.security.test_sign_in import PASSWORD, code_of, sign_in
from tests.test_access import signed_in

#: What a stranger would write where a name is asked for.
NASTY = '../../etc/x"; filename="evil.html\r\nSet-Cookie: a=b;\x00 $(touch x) `id`'


class _Trap:
    def __reduce__(self):
        return (exec, ("raise AssertionError('unpickled')",))


class _Pickled:
    """How older frameworks wrote sessions."""

    def dumps(self, value):
        return pickle.dumps(value)


def test_a_session_that_holds_an_object_to_run_is_no_session(staff):
    """Even one that is signed with the server's key."""
    client = signed_in(staff)
    row = Session.objects.get()
    row.session_data = signing.dumps(_Trap(), salt=SessionStore().key_salt, serializer=_Pickled)
    row.save()
    assert client.get(reverse("today"))["Location"].startswith(reverse("login"))


@pytest.mark.django_db
def test_only_a_session_that_this_server_made_and_still_holds_opens_a_page(staff):
    client = Client()
    sign_in(staff, client)
    name = test_settings.SESSION_COOKIE_NAME
    own = client.cookies[name].value
    assert client.get(reverse("today")).status_code == 200
    for forged in ("", "a" * 32, own[:-1], own.upper(), f"{own}x", staff.username, str(staff.pk)):
        stranger = Client()
        stranger.cookies[name] = forged
        assert stranger.get(reverse("today")).status_code == 302, forged
    client.post(reverse("logout"))
    late = Client()
    late.cookies[name] = own
    assert late.get(reverse("today")).status_code == 302
    assert test_settings.SESSION_ENGINE.startswith("django.contrib.sessions.backends.")


@pytest.mark.django_db
def test_session_keys_are_new_long_and_follow_from_no_seed(staff):
    keys = []
    for _ in range(20):
        random.seed(7)
        client = Client()
        sign_in(staff, client)
        keys.append(client.cookies[test_settings.SESSION_COOKIE_NAME].value)
    assert len(set(keys)) == 20
    # 36 letters: 32 of them hold 165 bits.
    assert {len(key) for key in keys} == {32}
    assert len(set("".join(keys))) > 30
    assert not SessionStore(session_key="a" * 32).exists("a" * 32)


def test_recovery_codes_are_random_and_only_their_hashes_are_kept(podiatrist):
    shown = []
    for _ in range(2):
        random.seed(7)
        device = sessions.enrol_start(by=podiatrist)
        device.throttling_enabled = False
        shown += sessions.enrol_confirm(by=podiatrist, code=code_of(device))[1]
    assert len(set(shown)) == 20
    for code in shown:
        # 31 letters: 24 of them hold 118 bits, over the 112 below which a slow hash is asked.
        assert len(code.replace("-", "")) == 24
    kept = set(StaticToken.objects.values_list("token", flat=True))
    assert not kept & {one for code in shown for one in (code, code.replace("-", ""))}
    seeds = {TOTPDevice.objects.create(user=podiatrist, confirmed=False).key for _ in range(20)}
    assert len(seeds) == 20
    assert all(len(bytes.fromhex(seed)) >= 20 for seed in seeds)  # RFC 4226, 4: 160 bits are recommended


def test_tokens_and_keys_are_long_enough_and_follow_from_no_seed(manager, site, settings, tmp_path):
    made = {}
    for name in ("first", "second"):
        random.seed(7)
        person = factories.person(at=site)
        audit.record(by=manager, site=site, verb="looked", target=person, person=person)
        settings.DIGEST_KEY_FILE, settings.DIGEST_DIR = tmp_path / name, tmp_path / f"{name}-lines"
        made[name] = (
            link_make(manager, manager, LinkPurpose.RESET),
            PersonKey.objects.get(pk=person.pk).key,
            digests.make_key().read_text().strip(),
        )
    for one, two in zip(*made.values(), strict=True):
        assert one != two
    token, key, digest_key = made["first"]
    assert len(base64.urlsafe_b64decode(f"{token}=")) == 32
    assert len(base64.urlsafe_b64decode(key)) == 32
    assert len(bytes.fromhex(digest_key)) == 32
    assert token not in str(list(AccountLink.objects.values_list()))


@pytest.mark.django_db
def test_passwords_are_kept_by_a_slow_hash_and_one_of_an_earlier_kind_still_opens(settings, site):
    settings.PASSWORD_HASHERS = live.PASSWORD_HASHERS
    kind, work, _, block, parallel, _ = make_password(PASSWORD).split("$")
    # The least that the password storage cheat sheet of OWASP gives for scrypt (from memory): 2^14, 8, 5.
    assert (kind, int(work) >= 2**14, int(block) >= 8, int(parallel) >= 5) == ("scrypt", True, True, True)
    user = factories.user("staff", at=site)
    user.password = make_password(PASSWORD, hasher="pbkdf2_sha256")
    user.save()
    assert sign_in(user)[1].status_code == 302
    # Nothing is stored beside the chain by signing in; the next password is of the kind in force.
    user.refresh_from_db()
    assert user.password.startswith("pbkdf2_sha256$")
    user.set_password(PASSWORD)
    assert user.password.startswith("scrypt$")


@pytest.mark.django_db
def test_a_password_of_ten_years_ago_is_still_taken_and_no_new_one_is_asked(site):
    user = factories.user("staff", at=site, password=PASSWORD)
    User.objects.filter(pk=user.pk).update(date_joined=timezone.now() - timedelta(days=3650))
    client, answer = sign_in(user)
    assert answer.status_code == 302
    assert client.get(reverse("today")).status_code == 200


def _forms():
    for name in ("accounts", "breakglass", "erasure", "settings_page"):
        try:
            module = import_module(f"clinic.accounts.forms.{name}")
        except ModuleNotFoundError:
            continue
        yield from (
            one for one in vars(module).values() if isinstance(one, type) and issubclass(one, forms.Form)
        )


def test_every_password_is_typed_into_a_masked_field_that_managers_of_passwords_know(client, db):
    asked = [
        field.widget
        for form in _forms()
        for name, field in form.base_fields.items()
        if "password" in str(field.label).lower() or name in ("old", "new", "again")
    ]
    assert len(asked) >= 7
    for widget in asked:
        assert widget.input_type == "password"
        assert widget.attrs["autocomplete"] in ("current-password", "new-password")
        assert widget.render_value is False
    page = client.get(reverse("login")).content.decode()
    assert 'type="password"' in page
    assert 'autocomplete="current-password"' in page


def test_the_name_of_a_sent_file_is_used_nowhere(as_podiatrist, podiatrist, site, settings, tmp_path):
    settings.STORAGES = {
        **settings.STORAGES,
        "default": {
            "BACKEND": "django.core.files.storage.FileSystemStorage",
            "OPTIONS": {"location": str(tmp_path), "base_url": None},
        },
    }
    person = factories.person(at=site)
    lesion = factories.lesion(on=factories.limb(of=person))
    today = timezone.localdate()
    PhotoConsent.objects.create(person=person, given_on=today, created_by=podiatrist)
    sent = SimpleUploadedFile("x.jpg", picture().getvalue())
    sent._name = NASTY
    url = reverse("photo_new", args=[lesion.pk])
    page = as_podiatrist.get(url).content.decode()
    assert "JPEG, PNG or HEIC; at most 15 MB" in page
    answer = as_podiatrist.post(url, {"photo": sent, "taken_on": today.isoformat()})
    assert answer.status_code == 302, answer.content.decode()
    photo = Photo.objects.get()
    assert photo.file.name == f"photos/{photo.sha256[:2]}/{photo.sha256}.jpg"
    assert [path.suffix for path in tmp_path.rglob("*") if path.is_file()] == [".jpg"]
    shown = as_podiatrist.get(reverse("photo_file", args=[photo.pk]))
    assert shown["Content-Disposition"] == "inline"
    assert shown["X-Content-Type-Options"] == "nosniff"


def test_names_of_downloads_are_the_programs_own(as_manager, as_podiatrist, site):
    """Whatever a person is called and whatever is asked for, no word of it comes into a header."""
    person = factories.person(at=site, given_name="Evil", family_name='x"; y', record_number='R"/..\\')
    asked = [
        as_manager.post(reverse("person_copy", args=[person.pk])),
        as_manager.get(reverse("audit_csv"), {"figure": NASTY, "from": NASTY}),
        as_manager.get(reverse("audit_json"), {"figure": "all", "stem": NASTY}),
    ]
    named = [answer["Content-Disposition"] for answer in asked if "Content-Disposition" in answer]
    assert named
    for header in named:
        assert "Evil" not in header
        assert "evil" not in header
        assert header.replace('filename="', "").count('"') == 1
        assert "/" not in header
        assert ".." not in header


def test_words_for_a_tool_stay_one_word_each(tmp_path):
    """What a shell would run is a part of the database's name."""
    told = conninfo({"HOST": "h", "PORT": 1, "USER": "u' x", "NAME": f"clinic; touch {tmp_path}/x $(id)"})
    assert r"dbname='clinic; touch" in told
    assert r"user='u\' x'" in told
    assert not list(tmp_path.iterdir())


def test_sealed_text_repeats_nothing_and_no_flipped_bit_passes(tmp_path, manager, site):
    """The same block twice gives two others, under one key and under two; another seal is refused."""
    plain, first, second = (tmp_path / name for name in ("plain", "first", "second"))
    plain.write_bytes(bytes(1024 * 1024 * 2))
    for sealed in (first, second):
        seal(plain, sealed, "seven purple lanterns")
    body = first.read_bytes()[len(MAGIC) :]
    blocks = [body[n : n + 16] for n in range(0, len(body), 16)]
    assert len(set(blocks)) == len(blocks)
    again = second.read_bytes()
    assert not {*blocks} & {again[n : n + 16] for n in range(len(MAGIC), len(body), 16)}
    other = first.read_bytes().replace(MAGIC, b"CLINIC-SEALED-9\n", 1)
    second.write_bytes(other)
    with pytest.raises(SealFault, match="not a sealed backup"):
        unseal(second, tmp_path / "back", "seven purple lanterns")
    person = factories.person(at=site)
    for _ in range(2):
        audit.record(by=manager, site=site, verb="looked", target=person, person=person, note="0" * 4000)
    texts = [base64.urlsafe_b64decode(event.payload) for event in audit.AuditEvent.objects.all()]
    pieces = [text[n : n + 16] for text in texts for n in range(25, len(text) - 32, 16)]
    assert len(pieces) > 400
    assert len(set(pieces)) == len(pieces)


def test_guessing_a_passphrase_costs_memory_and_time(monkeypatch):
    """The parameters that the derivation is run with: 32 MB a guess (RFC 7914: 128 · n · r bytes)."""
    asked = {}

    class Noted:
        def __init__(self, **values):
            asked.update(values)

        def derive(self, secret):
            return b"k" * 32

    from clinic.accounts import sealed_files

    monkeypatch.setattr(sealed_files, "Scrypt", Noted)
    sealed_files._key("x", b"salt")
    assert 128 * asked["n"] * asked["r"] >= 32 * 2**20
    assert asked["length"] == 32


@pytest.mark.django_db
@pytest.mark.parametrize("method", ["get", "post"])
def test_in_production_a_plain_request_is_sent_to_https_and_answered_nothing(settings, method, site):
    settings.SECURE_SSL_REDIRECT, settings.SECURE_HSTS_SECONDS = True, 3600
    user = factories.user("staff", at=site, password=PASSWORD)
    client = Client()
    plain = getattr(client, method)(reverse("login"), {"username": user.username, "password": PASSWORD})
    assert plain.status_code == 301
    assert plain["Location"].startswith("https://testserver/")
    assert "_auth_user_id" not in client.session
    answer = client.get(reverse("login"), secure=True)
    assert answer["Strict-Transport-Security"].startswith("max-age=")
