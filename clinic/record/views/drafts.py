"""What a page asks when it opens and before it sends a form: who is signed in, and what is stored."""

from __future__ import annotations

import base64
import hashlib
import hmac
from typing import Any

from django.conf import settings
from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.middleware.csrf import get_token

from clinic.access import second_factor_asked
from clinic.record.reads.receipts import receipt_words, receipts_of


@login_not_required
def draft_key(request: HttpRequest) -> HttpResponse:
    """Who is signed in, a stamp for forms that is valid now, and the receipts of the forms named by `sent`.

    The key of drafts is 256 bits that only this account gets, and only while signed in; a new password makes
    a new key. A device that is lost while signed out holds drafts that nobody else's session can read.
    """
    user = request.user
    answer: dict[str, Any] = {"user": None, "csrf": get_token(request)}
    if user.is_authenticated and second_factor_asked(user) and not _second_factor_given(request):
        answer["code"] = True
    elif user.is_authenticated:
        answer |= {
            "user": user.pk,
            "key": _key(user),
            "stored": [receipt_words(one) for one in receipts_of(user, request.GET.getlist("sent"))],
        }
    response = JsonResponse(answer)
    response["Cache-Control"] = "private, no-store"
    return response


draft_key.before_second_factor = True  # type: ignore[attr-defined]


def _second_factor_given(request: HttpRequest) -> bool:
    given = request.user.is_verified()  # type: ignore[union-attr]
    return bool(given or request.session.get("vouched", False))


def _key(user: Any) -> str:
    seed = f"draft:{user.pk}:{user.password}".encode()
    key = hmac.new(settings.SECRET_KEY.encode(), seed, hashlib.sha256).digest()
    return base64.b64encode(key).decode()
