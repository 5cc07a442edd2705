"""Log lines hold no patient: planted text never comes out, and every call of ours gives a constant
sentence.
"""

from __future__ import annotations

import ast
import io
import json
import logging
import re
from datetime import datetime, timedelta

import pytest
from django.core.management import call_command
from django.db import IntegrityError
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from clinic.config.logs import Lines, request_id
from tests import factories
from tests.security.test_sign_in import sign_in
from tests.test_repository import ROOT

PLANTED = ("Zweistein", "Q77777", "1931-02-03", "Fever since Tuesday")


@pytest.fixture
def lines():
    """Everything that would be written to the log, at every level."""
    out = io.StringIO()
    handler = logging.StreamHandler(out)
    handler.setFormatter(Lines())
    root = logging.getLogger()
    watched = [
        logging.getLogger(name) for name in ("", "clinic", "django", "django.db", "django.request", "axes")
    ]
    before = [(one, one.level) for one in watched]
    root.addHandler(handler)
    for one in watched:
        one.setLevel(logging.DEBUG)
    yield out
    root.removeHandler(handler)
    for one, level in before:
        one.setLevel(level)


def clean(out):
    text = out.getvalue()
    assert text
    for words in PLANTED:
        assert words not in text, words
    return [json.loads(line) for line in text.splitlines()]


def test_no_planted_text_comes_out_of_forms_searches_and_errors(lines, staff, person, monkeypatch, settings):
    settings.DEBUG_PROPAGATE_EXCEPTIONS = False
    client = Client(raise_request_exception=False)
    client.force_login(staff)
    client.post("/people/", {"q": PLANTED[0]}, follow=True)
    client.get(f"/nothing/{PLANTED[0]}/{PLANTED[1]}/")
    client.post(reverse("person_new"), {"family_name": PLANTED[0], "record_number": PLANTED[1]})
    client.post(reverse("login"), {"username": PLANTED[0], "password": PLANTED[3]})
    Client().post(reverse("login"), {"username": PLANTED[0], "password": PLANTED[3]})

    def broken(*_a, **_k):
        raise IntegrityError(f"duplicate key: Key (family_name, born)=({PLANTED[0]}, {PLANTED[2]}) exists")

    monkeypatch.setattr("clinic.people.views.people.person_correct", broken)
    answer = client.post(
        reverse("person_edit", args=[person.pk]),
        {
            "record_number": person.record_number,
            "given_name": "Ada",
            "family_name": PLANTED[0],
            "birth_date": PLANTED[2],
            "diabetes_type": "type_2",
            "version": "1",
        },
    )
    assert answer.status_code == 500
    told = clean(lines)
    errors = [line for line in told if line.get("error") == "IntegrityError"]
    assert errors
    assert any("people.py" in where for where in errors[0]["where"])
    assert errors[0]["request"] == answer["X-Request-ID"]


def test_a_log_record_made_wrongly_still_loses_its_values(lines):
    logging.getLogger("somewhere.else").error("refused %s", PLANTED[0])
    logging.getLogger("somewhere.else").error(f"refused {PLANTED[0]}")
    try:
        raise ValueError(PLANTED[1])
    except ValueError:
        logging.getLogger("clinic.views").exception("not stored")
    clean(lines)


def test_each_request_is_one_line_with_its_page_status_time_and_user(lines, staff, person):
    client = Client()
    client.force_login(staff)
    answer = client.get(reverse("person", args=[person.pk]))
    line = next(line for line in clean(lines) if line["message"] == "answered")
    assert line["page"] == "person"
    assert line["status"] == 200
    assert line["user"] == staff.pk
    assert line["method"] == "GET"
    assert line["request"] == answer["X-Request-ID"] == request_id.get()
    at = datetime.fromisoformat(line["at"])
    assert at.utcoffset() == timedelta(0)
    assert abs(timezone.now() - at) < timedelta(minutes=5)


def test_every_log_call_of_ours_gives_a_constant_sentence():
    calls, wrong = 0, []
    levels = {"debug", "info", "warning", "error", "exception", "critical"}
    for folder in ("clinic", "offload"):
        for path in (ROOT / folder).rglob("*.py"):
            for node in ast.walk(ast.parse(path.read_text())):
                if (
                    isinstance(node, ast.Call)
                    and isinstance(node.func, ast.Attribute)
                    and node.func.attr in levels
                    and ast.unparse(node.func.value) in {"log", "logger", "logging"}
                ):
                    calls += 1
                    if len(node.args) != 1 or not isinstance(node.args[0], ast.Constant):
                        wrong.append(f"{path.relative_to(ROOT)}:{node.lineno}")
    assert calls >= 2
    assert not wrong, wrong


def test_only_the_daily_digest_sends_mail_and_it_names_nobody(person, mailoutbox):
    senders = {
        path.name
        for folder in ("clinic", "offload")
        for path in (ROOT / folder).rglob("*.py")
        if re.search(r"send_mail|EmailM|send_mass|mail_admins|mail_managers|send_messages", path.read_text())
    }
    assert senders == {"digest.py"}
    factories.lesion(on=factories.limb(of=person))
    factories.red_flag(of=person)
    call_command("digest", mail=["clinic@example.org"], base_url="https://clinic.example")
    for mail in mailoutbox:
        for words in (person.family_name, person.given_name, person.record_number, f"/people/{person.pk}"):
            assert words not in mail.subject + mail.body
    assert mailoutbox


def test_signing_in_and_being_refused_are_logged_by_number(lines, podiatrist):
    browser, _ = sign_in(podiatrist)
    sign_in(podiatrist, Client(), "wrong password here")
    browser.get(reverse("accounts"))
    told = clean(lines)
    assert any(
        line["message"] == "signed in with a password" and line["user"] == podiatrist.pk for line in told
    )
    assert any("login failure" in line["message"] for line in told)
    refused = next(line for line in told if line.get("page") == "accounts")
    assert (refused["status"], refused["user"]) == (403, podiatrist.pk)
    assert podiatrist.username not in lines.getvalue()
