"""What a proxy tells is believed from the proxies that are named, and from nobody else."""

from __future__ import annotations

from ipaddress import ip_network

import pytest
from hypothesis import given
from hypothesis import strategies as st

from clinic.config.proxy import address_of, believe


@pytest.fixture
def behind(settings):
    settings.BEHIND_PROXY = True
    settings.TRUSTED_PROXIES = [ip_network("127.0.0.1"), ip_network("10.9.0.0/24"), ip_network("fd00::/64")]


TOLD = {"HTTP_X_FORWARDED_FOR": "6.6.6.6, 192.0.2.7", "HTTP_X_FORWARDED_PROTO": "https"}


@pytest.mark.parametrize("peer", ["127.0.0.1", "10.9.0.200", "fd00::5", "::ffff:10.9.0.1", ""])
def test_a_named_proxy_is_believed_on_this_host_or_another(behind, peer):
    meta = {"REMOTE_ADDR": peer, "wsgi.url_scheme": "http", **TOLD}
    believe(meta)
    assert (meta["REMOTE_ADDR"], meta["wsgi.url_scheme"]) == ("192.0.2.7", "https")


@pytest.mark.parametrize("peer", ["10.9.1.1", "192.0.2.1", "fd01::1", "not an address"])
def test_nobody_else_is_believed(behind, peer):
    meta = {"REMOTE_ADDR": peer, "wsgi.url_scheme": "http", **TOLD}
    before = dict(meta)
    believe(meta)
    assert meta == before


def test_no_header_is_believed_without_a_proxy(settings):
    settings.BEHIND_PROXY = False
    meta = {"REMOTE_ADDR": "127.0.0.1", "wsgi.url_scheme": "http", **TOLD}
    before = dict(meta)
    believe(meta)
    assert meta == before


@given(st.ip_addresses(), st.integers(1, 65535))
def test_a_port_behind_an_address_changes_nothing(address, port):
    plain = address_of(str(address))
    with_port = f"[{address}]:{port}" if address.version == 6 else f"{address}:{port}"
    assert plain is not None
    assert address_of(with_port) == plain


@given(st.text(max_size=40))
def test_any_words_give_an_address_or_nothing(words):
    found = address_of(words)
    assert found is None or address_of(str(found)) == found


@pytest.mark.parametrize("scheme", ["javascript", "HTTPS", "https, http", ""])
def test_only_a_scheme_is_taken_for_a_scheme_and_the_last_one(behind, scheme):
    meta = {"REMOTE_ADDR": "127.0.0.1", "wsgi.url_scheme": "http", "HTTP_X_FORWARDED_PROTO": scheme}
    believe(meta)
    assert meta["wsgi.url_scheme"] == "http"


def test_behind_a_proxy_on_another_host_production_does_not_redirect_for_ever(behind, settings, client, db):
    settings.SECURE_SSL_REDIRECT = True
    asked = {"REMOTE_ADDR": "10.9.0.3", "HTTP_X_FORWARDED_FOR": "192.0.2.7"}
    assert client.get("/sign-in/", **asked, HTTP_X_FORWARDED_PROTO="https").status_code == 200
    assert client.get("/sign-in/", **asked, HTTP_X_FORWARDED_PROTO="http").status_code == 301
    assert client.get("/sign-in/", **{**asked, "REMOTE_ADDR": "10.10.0.3"}).status_code == 301
