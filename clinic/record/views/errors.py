"""Pages of faults: what to do, with everything typed ready to be sent again."""

from __future__ import annotations

import errno
import sys

from django.core.exceptions import RequestDataTooBig, TooManyFieldsSent, TooManyFilesSent
from django.db import InterfaceError, OperationalError
from django.http import HttpRequest, HttpResponse
from django.middleware.csrf import get_token
from django.template.loader import render_to_string

#: Never shown again on a page.
SECRET = ("password", "csrfmiddlewaretoken", "old", "new", "again", "code", "token")
LONGEST_KEPT = 200_000


def _typed(request: HttpRequest) -> list[tuple[str, str]]:
    """What the form held, so that one press sends it again. Files cannot be kept by a page."""
    try:
        if request.method != "POST" or request.path.startswith(("/sign-in", "/account-link", "/me")):
            return []
        pairs = [(key, value) for key, values in request.POST.lists() for value in values]
    except (OSError, RequestDataTooBig, TooManyFieldsSent, TooManyFilesSent):
        return []
    kept = [(key, value) for key, value in pairs if key not in SECRET]
    return kept if sum(len(value) for _, value in kept) < LONGEST_KEPT else []


def _page(request: HttpRequest, template: str, status: int) -> HttpResponse:
    context = {
        "number": getattr(request, "number", ""),
        "path": request.get_full_path(),
        "typed": _typed(request),
        "csrf_token": get_token(request),
    }
    # Not the request's own context: that would ask the database, which may be what failed.
    return HttpResponse(render_to_string(template, context), status=status)


def _out_of_reach(error: BaseException | None) -> bool:
    """The database or its disk cannot be used just now: trying again later is the right advice."""
    seen = 0
    while error is not None and seen < 8:
        if isinstance(error, OperationalError | InterfaceError):
            return True
        if isinstance(error, OSError) and error.errno in (errno.ENOSPC, errno.EDQUOT, errno.EROFS, errno.EIO):
            return True
        error, seen = error.__cause__ or error.__context__, seen + 1
    return False


def server_error(request: HttpRequest) -> HttpResponse:
    if _out_of_reach(sys.exc_info()[1]):
        response = _page(request, "503.html", 503)
        response["Retry-After"] = "30"
        return response
    return _page(request, "500.html", 500)


def stale_form(request: HttpRequest, reason: str = "") -> HttpResponse:
    """The form's stamp is missing or old (signed in again in another tab): sending it again is safe and
    enough.
    """
    return _page(request, "403_csrf.html", 403)


def too_many(request: HttpRequest) -> HttpResponse:
    response = _page(request, "429.html", 429)
    response["Retry-After"] = "60"
    return response
