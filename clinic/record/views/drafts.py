"""The key with which a signed-in person's drafts are kept on the device."""

from __future__ import annotations

import base64
import hashlib
import hmac

from django.conf import settings
from django.http import HttpResponse, JsonResponse

from clinic.access import ClinicRequest, may


@may("see_cases")
def draft_key(request: ClinicRequest) -> HttpResponse:
    """256 bits that only this account gets, and only while signed in; a new password makes a new key.

    A device that is lost while signed out holds drafts that nobody else's session can read.
    """
    seed = f"draft:{request.user.pk}:{request.user.password}".encode()
    key = hmac.new(settings.SECRET_KEY.encode(), seed, hashlib.sha256).digest()
    answer = JsonResponse({"key": base64.b64encode(key).decode(), "user": request.user.pk})
    answer["Cache-Control"] = "private, no-store"
    return answer
