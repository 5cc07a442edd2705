"""The address of the clinic, asked as a browser would ask it."""

from __future__ import annotations

import threading
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, HTTPServer
from types import SimpleNamespace

import pytest

from clinic.accounts.reads.doctor import FAULT, WELL
from clinic.accounts.reads.reached import reached


@contextmanager
def answering(status):
    class Answer(BaseHTTPRequestHandler):
        def do_GET(self):
            self.send_response(status)
            self.end_headers()

        def log_message(self, *_):
            pass

    server = HTTPServer(("127.0.0.1", 0), Answer)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    try:
        yield f"http://127.0.0.1:{server.server_port}"
    finally:
        server.shutdown()
        server.server_close()


@pytest.mark.parametrize(
    ("status", "level", "words"),
    [(200, WELL, "is reached"), (400, FAULT, "does not serve the name"), (502, FAULT, "answers 502")],
)
def test_the_address_is_asked_as_a_browser_would(status, level, words):
    with answering(status) as url:
        found = reached(url)
    assert found.level == level
    assert words in found.words


def test_an_endless_redirect_is_told_from_the_one_that_leads_to_https(monkeypatch):
    import http.client

    # The same answer under http is the way to https, under https it is the circle.
    monkeypatch.setattr(http.client, "HTTPSConnection", http.client.HTTPConnection)
    class_ = http.client.HTTPConnection

    def answer(self):
        return SimpleNamespace(status=301, getheader=lambda name: "https://clinic.example.org/sign-in/")

    monkeypatch.setattr(class_, "request", lambda self, *words: None)
    monkeypatch.setattr(class_, "getresponse", answer)
    assert reached("http://clinic.example.org").level == WELL
    found = reached("https://clinic.example.org")
    assert (found.level, "TRUSTED_PROXIES" in found.remedy) == (FAULT, True)


@pytest.mark.parametrize(
    "url", ["clinic.example.org", "ftp://clinic.example.org", "https://", "http://127.0.0.1:1"]
)
def test_an_address_that_cannot_be_asked_is_a_fault(url):
    found = reached(url)
    assert found.level == FAULT
    assert found.remedy
