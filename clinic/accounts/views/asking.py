"""The one way a page asks a signed-in user for the password: counted, slowed and locked as signing in is."""

from __future__ import annotations

import logging
from typing import Any

from django.contrib.auth import authenticate

__all__ = ["password_right"]

log = logging.getLogger("clinic.sign_in")


def password_right(request: Any, password: str) -> bool:
    """Whether it is the password of whoever is signed in. A wrong one counts towards the lock of the name at
    this address, whichever page asked.
    """
    user = authenticate(request, username=request.user.username, password=password)
    if user is not None and user.pk == request.user.pk:
        return True
    log.warning("password refused", extra={"user": request.user.pk})
    return False
