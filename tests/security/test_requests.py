"""What a hostile request meets."""

from __future__ import annotations

import io
import os
import re
import subprocess
import sys

import environ
import pytest
from django.conf import settings as live
from django.core.cache import cache
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from clinic.config import rate_limit
from clinic.config.tls import cache_fault, database_fault
from clinic.models import Photo, PhotoConsent
from clinic.record.writes.exports import formula_safe
from tests import factories
from tests.test_repository import LONG_KEY, ROOT


def test_csrf_a_post_without_the_stamp_is_refused_and_keeps_the_text(person, staff):
    client = Client(enforce_csrf_checks=True)
    client.force_login(staff)
    answer = client.post(reverse("weight_new", args=[person.pk]), {"kg": "81.5", "note": "typed long"})
    assert answer.status_code == 403
    assert "too old" in answer.content.decode()
    assert 'value="81.5"' in answer.content.decode()
    assert person.weights.count() == 0


def test_csrf_a_refused_sign_in_does_not_show_the_password(staff):
    client = Client(enforce_csrf_checks=True)
    answer = client.post(reverse("login"), {"username": staff.username, "password": "my secret words"})
    assert answer.status_code == 403
    assert "my secret words" not in answer.content.decode()


def test_host_header_another_host_is_refused(as_staff):
    assert as_staff.get("/people/", headers={"host": "evil.example"}).status_code == 400
    link = as_staff.get("/people/", headers={"X-Forwarded-Host": "evil.example"})
    assert "evil.example" not in link.content.decode()


@pytest.mark.parametrize(
    "path",
    [
        "/static/../clinic/config/settings.py",
        "/static/%2e%2e/%2e%2e/manage.py",
        "/media/photos/x.jpg",
        "/photos/..%2f..%2fmanage.py/file/",
        "/plans/..%2f..%2fx/sheet-a4.pdf",
        "/history/../user/1/",
    ],
)
def test_path_traversal_finds_nothing(as_podiatrist, path):
    assert as_podiatrist.get(path).status_code == 404


def test_path_traversal_a_photo_row_cannot_point_outside_the_store(as_staff, person):
    lesion = factories.lesion(on=factories.limb(of=person))
    photo = Photo.objects.create(
        lesion=lesion,
        taken_on=timezone.localdate(),
        file="../../../etc/passwd",
        sha256="0" * 64,
        width_px=1,
        height_px=1,
        created_by=factories.author(),
    )
    as_staff.raise_request_exception = False
    answer = as_staff.get(reverse("photo_file", args=[photo.pk]))
    body = b"".join(answer.streaming_content) if answer.streaming else answer.content
    assert answer.status_code in (400, 404, 500)
    assert b"root:" not in body


@pytest.mark.parametrize("cell", ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1"])
def test_formula_injection_text_a_spreadsheet_would_run_is_kept_as_text(cell):
    assert formula_safe(cell).startswith("'")
    assert formula_safe(-1.5) == -1.5


SVG = b'<svg xmlns="http://www.w3.org/2000/svg"><script>alert(1)</script></svg>'
HTML = b"<!doctype html><script>alert(1)</script>"
JPEG_THEN_HTML = b"\xff\xd8\xff\xe0" + HTML


@pytest.mark.parametrize(
    ("name", "content"),
    [("a.svg", SVG), ("a.html", HTML), ("a.jpg", SVG), ("a.png", HTML), ("a.jpg", JPEG_THEN_HTML)],
)
def test_svg_and_html_uploads_are_refused_whatever_they_are_called(as_staff, person, name, content):
    lesion = factories.lesion(on=factories.limb(of=person))
    PhotoConsent.objects.create(person=person, given_on="2020-01-01", created_by=factories.author())
    upload = io.BytesIO(content)
    upload.name = name
    answer = as_staff.post(
        reverse("photo_new", args=[lesion.pk]),
        {"photo": upload, "taken_on": timezone.localdate().isoformat(), "note": ""},
    )
    assert answer.status_code == 422
    assert Photo.objects.count() == 0


def test_every_answer_carries_the_headers(as_staff):
    for path in ("/people/", "/nothing-here/", "/health/"):
        headers = as_staff.get(path).headers
        assert "script-src 'self'" in headers["Content-Security-Policy"], path
        assert "unsafe" not in headers["Content-Security-Policy"]
        assert headers["X-Frame-Options"] == "DENY"
        assert headers["X-Content-Type-Options"] == "nosniff"
        assert headers["Referrer-Policy"] == "same-origin"
        assert headers["Cross-Origin-Opener-Policy"] == "same-origin"
        assert headers["Cross-Origin-Resource-Policy"] == "same-origin"
        assert "geolocation=()" in headers["Permissions-Policy"]
        assert headers["X-Request-ID"]


def test_record_pages_are_kept_by_no_cache(as_staff, person):
    assert "no-store" in as_staff.get(reverse("person", args=[person.pk]))["Cache-Control"]


def test_page_titles_and_addresses_hold_no_patient(as_staff, person):
    """The title of a page goes into browser histories and window lists."""
    factories.lesion(on=factories.limb(of=person))
    page = as_staff.get(reverse("person", args=[person.pk])).content.decode()
    title = page.split("<title>")[1].split("</title>")[0]
    assert person.family_name not in title
    assert person.record_number not in reverse("person", args=[person.pk])


def test_in_production_cookies_are_bound_to_the_host_and_to_https():
    code = (
        "from clinic.config import settings as s;"
        "print(s.SESSION_COOKIE_NAME, s.CSRF_COOKIE_NAME, s.SESSION_COOKIE_SECURE, s.CSRF_COOKIE_SECURE, "
        "s.SECURE_HSTS_SECONDS, s.DEBUG)"
    )
    clean = {k: v for k, v in os.environ.items() if k not in {"DJANGO_SETTINGS_MODULE", "DEBUG"}}
    done = subprocess.run(
        [sys.executable, "-c", code],
        cwd=ROOT,
        capture_output=True,
        text=True,
        env={**clean, "PRODUCTION": "1", "SECRET_KEY": LONG_KEY, "ALLOWED_HOSTS": "clinic.example.org"},
    )
    assert done.stdout.split() == ["__Host-session", "__Host-csrf", "True", "True", "31536000", "False"]
    assert live.SESSION_COOKIE_HTTPONLY
    assert live.CSRF_COOKIE_HTTPONLY


def test_health_tells_a_watcher_and_nobody_else_anything(db, monkeypatch):
    answer = Client().get("/health/")
    assert answer.status_code == 200
    assert answer.json() == {"status": "ok", "database": True, "room_for_photos": True}
    monkeypatch.setattr("clinic.accounts.views.health.os.access", lambda *a: False)
    assert Client().get("/health/").status_code == 503


def test_requests_other_than_reading_never_change_by_get(as_manager, person):
    for name in ("person_copy",):
        assert as_manager.get(reverse(name, args=[person.pk])).status_code == 405
    assert as_manager.get(reverse("switch_user")).status_code == 405
    assert as_manager.get(reverse("sign_out_other")).status_code == 405
    assert as_manager.get(reverse("logout")).status_code == 405


@pytest.mark.parametrize("method", ["TRACE", "PUT", "DELETE", "PATCH", "OPTIONS", "PROPFIND"])
def test_methods_no_page_answers_are_refused(as_staff, method):
    answer = as_staff.generic(method, "/people/")
    assert answer.status_code == 405
    assert not answer.content


def test_no_cross_origin_permission_is_given(as_staff):
    answer = as_staff.get("/people/", headers={"Origin": "https://evil.example"})
    assert not answer.has_header("Access-Control-Allow-Origin")


def test_a_parameter_given_twice_is_no_way_round_a_check(as_staff, site, other_site):
    answer = as_staff.get(f"/people/?site={site.pk}&site={other_site.pk}")
    assert answer.status_code == 404


def test_names_and_record_numbers_stand_in_no_address(as_staff, as_manager, person, site):
    """Searches travel in the body; the address that can be opened again holds them unreadable, for this
    server only.
    """
    for client, page, sent in (
        (as_staff, reverse("people"), {"q": person.family_name}),
        (as_manager, reverse("audit_changes"), {"person": person.record_number, "actor": "", "verb": ""}),
    ):
        word = next(value for value in sent.values() if value)
        answer = client.post(page, sent)
        assert answer.status_code == 302
        assert word.lower() not in answer["Location"].lower()
        shown = client.get(answer["Location"])
        assert shown.status_code == 200
        assert word in shown.content.decode()
        # Nothing on the page leads to an address with the word in it, and no form sends one by GET.
        html = shown.content.decode()
        assert not [
            link for link in re.findall(r'(?:href|action)="([^"]*)"', html) if word.lower() in link.lower()
        ]
    live = as_staff.post(reverse("people"), {"q": person.family_name}, headers={"HX-Request": "true"})
    assert person.family_name not in live["HX-Push-Url"]
    assert person.record_number in as_staff.get(live["HX-Push-Url"]).content.decode()
    # A plain word, or a token of another server, finds everybody and says nothing.
    for asked in (f"?q={person.family_name}", f"?search={person.family_name}", "?search=gAAAAA" + "x" * 700):
        assert f"with “{person.family_name}”" not in as_staff.get(reverse("people") + asked).content.decode()


def test_no_form_of_ours_sends_free_text_by_get():
    """Forms by GET hold choices, days and tokens only; a field for words goes by POST."""
    found = []
    for path in (ROOT / "templates").rglob("*.html"):
        for form in re.findall(r'<form[^>]*method="get".*?</form>', path.read_text(), re.S):
            found += [
                (path.name, field) for field in re.findall(r'<input[^>]*type="(?:text|search)"[^>]*>', form)
            ]
    assert found == []


@pytest.mark.parametrize(
    ("method", "limit"), [("get", {"READS_PER_MINUTE": 4}), ("post", {"WRITES_PER_MINUTE": 4})]
)
def test_beyond_so_many_requests_a_minute_one_user_waits_and_keeps_what_was_typed(
    settings, as_staff, as_podiatrist, person, monkeypatch, method, limit
):
    for name, value in limit.items():
        setattr(settings, name, value)
    cache.clear()
    monkeypatch.setattr(rate_limit.time, "time", lambda: 6_000.0)
    page = reverse("weight_new", args=[person.pk])
    sent = {"kg": "<82 kilos>"} if method == "post" else {}
    codes = [getattr(as_staff, method)(page, sent).status_code for _ in range(6)]
    assert codes[4:] == [429, 429]
    assert 429 not in codes[:4]
    last = getattr(as_staff, method)(page, sent)
    assert last["Retry-After"] == "60"
    assert ("&lt;82 kilos&gt;" in last.content.decode()) == (method == "post")
    # Neither a colleague nor the next minute waits.
    assert getattr(as_podiatrist, method)(page, sent).status_code != 429
    monkeypatch.setattr(rate_limit.time, "time", lambda: 6_060.0)
    assert getattr(as_staff, method)(page, sent).status_code != 429
    cache.clear()


@pytest.mark.parametrize(
    ("url", "fault"),
    [
        ("postgres://app@db.example.org/clinic", "not given"),
        ("postgres://app@10.0.0.7/clinic?sslmode=require", "require"),
        ("postgres://app@db.example.org/clinic?sslmode=prefer", "prefer"),
        ("postgres://app@db.example.org/clinic?sslmode=verify-full", ""),
        ("postgres://app@127.0.0.1/clinic", ""),
        ("postgres://app@/clinic", ""),
        ("sqlite:////srv/clinic.sqlite3", ""),
    ],
)
def test_a_database_on_another_machine_is_reached_by_checked_tls_only(url, fault):
    told = database_fault(environ.Env.db_url_config(url))
    assert bool(told) == bool(fault)
    assert fault in told


@pytest.mark.parametrize(
    ("url", "good"),
    [
        ("", True),
        ("locmemcache://", True),
        ("dbcache://cache", True),
        ("filecache:///srv/cache", True),
        ("rediscache://127.0.0.1:6379/1", True),
        ("rediss://cache.example.org:6379/1", True),
        ("rediscache://cache.example.org:6379/1", False),
        ("redis://cache.example.org:6379/1", False),
    ],
)
def test_a_cache_on_another_machine_is_reached_by_tls_only(url, good):
    assert (cache_fault(url) == "") is good


def test_production_does_not_start_on_a_plain_connection_to_another_machine(tmp_path):
    for name in ("DATABASE_URL", "DATABASE_REPLICA_URL"):
        env = {
            **os.environ,
            "PRODUCTION": "1",
            "SECRET_KEY": LONG_KEY,
            "ALLOWED_HOSTS": "clinic.example.org",
            "VAR_DIR": str(tmp_path),
            "DATABASE_URL": "postgres://app@127.0.0.1/clinic",
            name: "postgres://app@db.example.org/clinic",
        }
        done = subprocess.run(
            [sys.executable, "-c", "import clinic.config.settings"],
            cwd=ROOT,
            env=env,
            capture_output=True,
            text=True,
            check=False,
        )
        assert done.returncode != 0
        assert "sslmode of the database on db.example.org is not given" in done.stderr
