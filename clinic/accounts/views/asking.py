"""The one way a page asks a signed-in user for the password: counted, slowed and locked as signing in is.

An account of the hospital has no password here: the hospital's sign-on asks for it anew instead.
"""

from __future__ import annotations

import logging
import time
from typing import Any

from django.contrib.auth import authenticate

__all__ = ["asked_lately", "password_right"]

#: How long the hospital's answer stands for the password, and how far its clock may be off: design choices.
LATELY_S, CLOCKS_S = 300, 60

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


def asked_lately(request: Any) -> bool:
    """Whether the hospital asked whoever is signed in for the password a moment ago, by its own word."""
    ago = time.time() - int(request.session.get("asked_at", 0))
    return -CLOCKS_S <= ago <= LATELY_S
