"""Which user names signed in on this device lately: a signed cookie, read by the sign-in page and by the
slow-down.
"""

from __future__ import annotations

from django.conf import settings
from django.core import signing
from django.http import HttpRequest, HttpResponse

__all__ = ["SEATS", "SEATS_SALT", "keep_seat", "seats_of"]

SEATS = "__Host-seats" if settings.SESSION_COOKIE_SECURE else "seats"
SEATS_SALT = "seats"
SEATS_KEPT = 8
SEATS_DAYS = 30


def seats_of(request: HttpRequest) -> list[str]:
    """User names that signed in on this device lately, newest first."""
    try:
        names = signing.loads(request.COOKIES.get(SEATS, ""), salt=SEATS_SALT, max_age=SEATS_DAYS * 86400)
    except signing.BadSignature:
        return []
    return [name for name in names if isinstance(name, str)][:SEATS_KEPT]


def keep_seat(request: HttpRequest, response: HttpResponse, username: str) -> None:
    names = [username, *(name for name in seats_of(request) if name != username)][:SEATS_KEPT]
    response.set_cookie(
        SEATS,
        signing.dumps(names, salt=SEATS_SALT),
        max_age=SEATS_DAYS * 86400,
        secure=settings.SESSION_COOKIE_SECURE,
        httponly=True,
        samesite="Lax",
    )
