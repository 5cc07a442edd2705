"""Password rules of our own, beside the framework's length and common-password lists."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.contrib.auth.backends import ModelBackend
from django.core.exceptions import ValidationError

__all__ = ["DEMO_PASSWORD", "NotOurWords", "PasswordBackend"]

#: Words of this trade and of the demonstration clinic; a password made round one of them is guessed first.
WORDS = ("offload", "podiatr", "clinic", "marrowbeck")
LONGEST = 128
#: Of every demonstration login. The command refuses to run in production.
DEMO_PASSWORD = "marrowbeck-demo-2026"  # noqa: S105


class NotOurWords:
    """Refuse passwords built round words anyone here would try, and absurdly long ones."""

    def validate(self, password: str, user: Any = None) -> None:
        if len(password) > LONGEST:
            raise ValidationError(
                f"The password has {len(password)} characters; at most {LONGEST} are taken."
            )
        found = next((word for word in WORDS if word in password.lower()), None)
        if found:
            raise ValidationError(f"The password contains “{found}”, which is tried first here.")

    def get_help_text(self) -> str:
        return "Not built round the words of this clinic."


class PasswordBackend(ModelBackend):
    """User name and password. The demonstration logins never work in production, whatever database is
    served.
    """

    def authenticate(
        self, request: Any, username: str | None = None, password: str | None = None, **kwargs: Any
    ) -> Any:
        if settings.PRODUCTION and password == DEMO_PASSWORD:
            return None
        return super().authenticate(request, username=username, password=password, **kwargs)
