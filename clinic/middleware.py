"""Middlewares: the request's number and its log line, headers, the idle clock, the second factor, the log
of reads.
"""

from __future__ import annotations

import logging
import secrets
import time
from collections.abc import Callable
from urllib.parse import quote

from django.conf import settings
from django.contrib import auth
from django.db import DatabaseError
from django.http import HttpRequest, HttpResponse, HttpResponseNotAllowed
from django.http.response import HttpResponseBase
from django.shortcuts import redirect, resolve_url
from django.urls import get_resolver, resolve, reverse
from django.utils import timezone
from django_htmx.http import HttpResponseClientRedirect

from clinic import access
from clinic.config import logs, proxy, rate_limit
from clinic.record.reads.receipts import receipt_of
from clinic.record.receipt_answers import form_sent, stored_before, with_receipt
from clinic.record.writes import read_log as reads
from clinic.record.writes.receipts import StoredAlready, sending

TOUCH_EVERY_SECONDS = 60
HEALTH = "/health/"
#: Answers that hold a page: as wanted, refused in its form, or older than the record.
SHOWS = (200, 409, 422)
SIGN_IN_NEEDED = "Sign-In-Needed"
#: Answers that show the form again: refused by a rule, or older than the record.
REFUSES = (409, 422)
Answer = Callable[[HttpRequest], HttpResponseBase]
log = logging.getLogger("clinic.requests")


class RequestLog:
    """A number for each request, told to the browser and on every log line; one line when it is answered."""

    def __init__(self, get_response: Answer) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        number = secrets.token_hex(6)
        logs.request_id.set(number)
        request.number = number  # type: ignore[attr-defined]
        began = time.perf_counter()
        response = self.get_response(request)
        response["X-Request-ID"] = number
        match = request.resolver_match
        # Asking for the user here would open the session again: only who was looked up already is told.
        known = getattr(request, "_cached_user", None)
        log.info(
            "answered",
            extra={
                "method": request.method if request.method in ("GET", "HEAD", "POST") else "other",
                "page": match.url_name if match else "none",
                "status": response.status_code,
                "ms": round((time.perf_counter() - began) * 1000),
                "user": getattr(known, "pk", None),
            },
        )
        return response


class ProxyAddress:
    """Behind a proxy of ours, the client's address and scheme are those it tells."""

    def __init__(self, get_response: Answer) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        proxy.believe(request.META)
        return self.get_response(request)


class Health:
    """The page for watchers answers under any name and over plain HTTP.

    A proxy or a monitor asks by address: the check of the host is not for it, nor is the redirect to HTTPS
    (SECURE_REDIRECT_EXEMPT).
    """

    def __init__(self, get_response: Answer) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        if request.path_info == HEALTH:
            return resolve(HEALTH).func(request)
        return self.get_response(request)


class Headers:
    """Headers the framework has no setting for."""

    METHODS = ("GET", "HEAD", "POST")
    FIXED = {
        "Permissions-Policy": "accelerometer=(), camera=(self), display-capture=(), geolocation=(), "
        "gyroscope=(), "
        "microphone=(), midi=(), payment=(), serial=(), usb=()",
        "Cross-Origin-Resource-Policy": "same-origin",
        "X-Permitted-Cross-Domain-Policies": "none",
    }

    def __init__(self, get_response: Answer) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        # TRACE would echo cookies; the others no page of ours answers.
        if request.method in self.METHODS:
            response = self.get_response(request)
        else:
            response = HttpResponseNotAllowed(self.METHODS)
        for name, value in self.FIXED.items():
            response[name] = value
        return response


class HtmxLoginRedirect:
    """Turn the redirect to the sign-in page into a whole-page one when htmx asked.

    The browser follows a 302 inside the request, so the sign-in form would land inside the panel.
    """

    def __init__(self, get_response: Answer) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        response = self.get_response(request)
        if (
            response.status_code == 302
            and request.headers.get("HX-Request") == "true"
            and response["Location"].startswith((resolve_url(settings.LOGIN_URL), reverse("second_factor")))
        ):
            whole = HttpResponseClientRedirect(response["Location"])
            # A page that keeps what was typed asks for the sign-in itself and stays.
            whole[SIGN_IN_NEEDED] = "yes"
            return whole
        return response


class SecondFactor:
    """Nothing opens to a user whose second factor is on, or asked for by a site, before it was given."""

    def __init__(self, get_response: Answer) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        return self.get_response(request)

    def process_view(self, request, view, args, kwargs):  # type: ignore[no-untyped-def]
        user = request.user
        if (
            not user.is_authenticated
            or getattr(view, "before_second_factor", False)
            or not getattr(view, "login_required", True)
            or not access.second_factor_asked(user)
            or user.is_verified()
            or request.session.get("vouched", False)
        ):
            return None
        page = "second_factor" if user.second_factor else "second_factor_enrol"
        return redirect(f"{reverse(page)}?next={quote(request.get_full_path())}")


class RateLimit:
    """Nobody copies a clinic or fills it with rubbish by a script: beyond so many requests a minute is a
    wait.
    """

    def __init__(self, get_response: Answer) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        if rate_limit.too_fast(request):
            log.warning("too many requests", extra={"user": request.user.pk})
            return get_resolver().resolve_error_handler(429)(request)
        return self.get_response(request)


class Receipts:
    """A form that names its key is stored once, and its answer says so: `Form-Stored`, or no such header.

    The device lets go of what was typed on that header alone (`static/js/kept_forms.js`); a redirect, a
    sign-in page or a refusal carries none.
    """

    def __init__(self, get_response: Answer) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        try:
            response = self.get_response(request)
        finally:
            sending(None)
        form = getattr(request, "form_sent", None)
        if form is None or (form.noted is None and response.status_code not in REFUSES):
            return response
        receipt = receipt_of(request.user, form.key)  # type: ignore[arg-type]
        if receipt is None:
            return response
        if form.noted is None:
            # Refused because the same form, by another press, came first.
            return stored_before(request, receipt, form.content_digest)
        return with_receipt(response, receipt)

    def process_view(self, request, view, args, kwargs):  # type: ignore[no-untyped-def]
        form = form_sent(request)
        if form is None:
            return None
        receipt = receipt_of(request.user, form.key)
        if receipt is not None:
            return stored_before(request, receipt, form.content_digest)
        request.form_sent = form
        sending(form)
        return None

    def process_exception(self, request, exception):  # type: ignore[no-untyped-def]
        form = getattr(request, "form_sent", None)
        if form is None or not isinstance(exception, StoredAlready):
            return None
        receipt = receipt_of(request.user, form.key)
        return receipt and stored_before(request, receipt, form.content_digest)


class TouchSession:
    """Restart the idle clock at most once a minute: each save takes SQLite's write lock.

    Whatever is done in it, a sign-in ends after the longest time a site allows.
    """

    def __init__(self, get_response: Answer) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        if request.user.is_authenticated:
            now = int(timezone.now().timestamp())
            session = request.session
            if now - session.get("began", now) > settings.SESSION_LONGEST_SECONDS:
                auth.logout(request)
            elif now - session.get("touched", 0) >= TOUCH_EVERY_SECONDS:
                session.setdefault("began", now)
                session["touched"] = now
        return self.get_response(request)


class ReadLog:
    """Each page of a person's record that was shown is one row of the log of reads."""

    def __init__(self, get_response: Answer) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        if request.method == "GET" and request.user.is_authenticated and "glass" in request.session:
            access.take_glass(request.user, request.session["glass"])
        response = self.get_response(request)
        # Whatever the method: a form that is refused shows the person again. A redirect shows nobody.
        if response.status_code in SHOWS and request.user.is_authenticated and request.resolver_match:
            seen, listed = access.seen_people(request.user), access.listed_people(request.user)
            page = request.resolver_match.url_name or ""
            if seen or listed:
                try:
                    reads.note(by=request.user, seen=seen, page=page)
                    if listed:
                        reads.note_list(by=request.user, people=listed, page=page)
                except DatabaseError:
                    # A clinician who needs the page gets it; that the log failed is itself logged.
                    log.exception("a read could not be logged")
        return response


class PrivatePages:
    """No shared or browser cache keeps a page of a signed-in person unless a view says otherwise."""

    def __init__(self, get_response: Answer) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        if request.user.is_authenticated and not response.has_header("Cache-Control"):
            response["Cache-Control"] = "private, no-store"
        return response  # type: ignore[return-value]
