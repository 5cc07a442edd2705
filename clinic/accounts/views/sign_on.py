"""Signing in with the hospital's account (OpenID Connect, authorization code with PKCE)."""

from __future__ import annotations

import logging
from typing import Any

import requests
from authlib.common.errors import AuthlibBaseError
from authlib.integrations.django_client import OAuth
from django.conf import settings
from django.contrib import auth
from django.contrib.auth.decorators import login_not_required
from django.http import Http404, HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import redirect, render, resolve_url
from django.urls import reverse
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.cache import never_cache
from joserfc.errors import JoseError

from clinic.accounts.writes import sessions
from clinic.accounts.writes.sign_on import sign_on_account
from clinic.record.errors import Refused

log = logging.getLogger("clinic.sign_in")
BACKEND = "clinic.accounts.passwords.PasswordBackend"
#: What a provider that cannot be asked, or answers nonsense, makes the libraries raise.
FAULTS = (
    AuthlibBaseError,
    JoseError,
    requests.RequestException,
    ValueError,
    KeyError,
    TypeError,
    RuntimeError,
)


def _provider() -> Any:
    """The hospital's provider, its addresses and keys read from it; made anew, so that none grows old."""
    if not settings.SIGN_ON_ISSUER:
        raise Http404("no sign-on")
    return OAuth().register(
        "hospital",
        client_id=settings.SIGN_ON_CLIENT,
        client_secret=settings.SIGN_ON_SECRET,
        server_metadata_url=f"{settings.SIGN_ON_ISSUER.rstrip('/')}/.well-known/openid-configuration",
        client_kwargs={"scope": settings.SIGN_ON_SCOPE, "code_challenge_method": "S256", "timeout": 10},
    )


def _failed(request: HttpRequest, words: str, status: int) -> HttpResponse:
    log.warning("sign-on refused")
    return render(request, "registration/sign_on_failed.html", {"words": words}, status=status)


@never_cache
@login_not_required
def sign_on(request: HttpRequest) -> HttpResponseBase:
    signed_in: Any = request.user
    if signed_in.is_authenticated and signed_in.has_usable_password():
        return redirect("home")
    provider = _provider()
    # Somebody without a password here is asked for the hospital's again, as other pages ask for the password
    # (OpenID Connect Core 1.0, 3.1.2.1); the answer then says when that was.
    again = {"prompt": "login", "max_age": "0"} if signed_in.is_authenticated else {}
    requested = request.GET.get("next", "")
    if url_has_allowed_host_and_scheme(requested, allowed_hosts=None) and requested.startswith("/"):
        request.session["sign_on_next"] = requested
    try:
        back = request.build_absolute_uri(reverse("sign_on_back"))
        return provider.authorize_redirect(request, back, **again)
    except FAULTS:
        return _failed(request, "The hospital's sign-on does not answer.", 503)


@never_cache
@login_not_required
def sign_on_back(request: HttpRequest) -> HttpResponseBase:
    """What the hospital's provider sends back: its token is checked, then the account follows."""
    provider = _provider()
    try:
        token = provider.authorize_access_token(
            request,
            claims_options={
                # Of the issuer that the settings name, whatever its own page says.
                "iss": {"essential": True, "values": [settings.SIGN_ON_ISSUER]},
                "aud": {"essential": True, "values": [settings.SIGN_ON_CLIENT]},
                "sub": {"essential": True},
                "exp": {"essential": True},
            },
            leeway=60,
        )
        claims = token["userinfo"]
    except FAULTS:
        return _failed(request, "The hospital's sign-on did not confirm who you are. Try once more.", 403)
    where = request.session.pop("sign_on_next", "") or resolve_url("home")
    try:
        user = sign_on_account(claims=claims)
    except Refused as refused:
        return _failed(request, refused.message, 403)
    old = request.session.session_key if request.user == user else None
    auth.login(request, user, backend=BACKEND)
    if old:  # asked again: the same sign-in, under a new key
        request.session.cycle_key()
    # The provider says that it asked for a second factor itself (RFC 8176, "mfa").
    amr = claims.get("amr")
    request.session["vouched"] = isinstance(amr, list) and "mfa" in amr
    asked_at = claims.get("auth_time")
    request.session["asked_at"] = asked_at if isinstance(asked_at, int) else 0
    key = request.session.session_key or ""
    if old:
        sessions.sign_in_moved(old=old, new=key)
    else:
        sessions.sign_in_note(user=user, session_key=key, agent=request.headers.get("User-Agent", ""))
    log.info("signed in by the hospital's sign-on", extra={"user": user.pk})
    return redirect(where)
