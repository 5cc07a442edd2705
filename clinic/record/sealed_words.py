"""Words typed into a search, made unreadable for the address bar, its history and every log between.

The address stays one that can be opened again; only this server reads it.
"""

from __future__ import annotations

import base64
import hashlib

from cryptography.fernet import Fernet, InvalidToken
from django.conf import settings

__all__ = ["seal", "unseal"]

LONGEST = 600


def _key() -> Fernet:
    made = hashlib.sha256(b"clinic.record.sealed_words" + settings.SECRET_KEY.encode()).digest()
    return Fernet(base64.urlsafe_b64encode(made))


def seal(words: str) -> str:
    """A token for an address; empty words stay empty."""
    return _key().encrypt(words.encode()).decode() if words else ""


def unseal(token: str) -> str:
    """The words of a token; none where it is not one of this server's."""
    if not token or len(token) > LONGEST:
        return ""
    try:
        return _key().decrypt(token.encode()).decode()
    except InvalidToken:
        return ""
