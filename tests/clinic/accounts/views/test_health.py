"""The page for watchers answers whoever asks, however they ask, and names nothing."""

from __future__ import annotations

import itertools

import pytest
from django.db import OperationalError, connection

HOSTS = ["testserver", "10.0.0.5:8000", "127.0.0.1", "another.example.org", "clinic_app"]
SCHEMES = [{}, {"HTTP_X_FORWARDED_PROTO": "https"}, {"wsgi.url_scheme": "https"}]


@pytest.fixture
def production(settings):
    settings.SECURE_SSL_REDIRECT = True
    settings.SECURE_REDIRECT_EXEMPT = [r"^health/$"]
    settings.ALLOWED_HOSTS = ["testserver"]


@pytest.mark.parametrize("behind", [False, True])
@pytest.mark.parametrize(("host", "scheme"), list(itertools.product(HOSTS, SCHEMES)))
def test_any_host_and_scheme_is_answered(production, settings, client, db, host, scheme, behind):
    settings.BEHIND_PROXY = behind
    answer = client.get("/health/", HTTP_HOST=host, **scheme)
    assert answer.status_code == 200
    assert answer.json() == {"status": "ok", "database": True, "room_for_photos": True}
    assert "no-store" in answer["Cache-Control"]


def test_no_other_page_opens_under_a_host_that_is_not_ours(production, client, db):
    assert client.get("/health", HTTP_HOST="another.example.org", secure=True).status_code == 400
    assert client.get("/sign-in/", HTTP_HOST="another.example.org", secure=True).status_code == 400


def test_what_fails_is_said_without_a_name_or_a_secret(production, settings, client, db, monkeypatch):
    def broken(*_):
        raise OperationalError('connection to server at "db.example.org", user "clinic" failed: hunter2')

    with monkeypatch.context() as patch:
        patch.setattr(connection, "cursor", broken)
        answer = client.get("/health/", HTTP_HOST="10.0.0.5")
    assert answer.status_code == 503
    assert answer.json() == {"status": "failing", "database": False, "room_for_photos": True}


def test_settings_in_production_exempt_this_page_alone():
    import re

    from tests.clinic.config.test_environment import SETTINGS

    exempt = re.findall(r"SECURE_REDIRECT_EXEMPT = (.*)", SETTINGS.read_text())
    assert exempt == ['[r"^health/$"]']
