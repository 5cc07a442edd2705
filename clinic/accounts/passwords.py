"""Password rules of our own, beside the framework's length and common-password lists."""

from __future__ import annotations

import re
import time
from typing import Any

from axes.models import AccessAttempt
from django.conf import settings
from django.contrib.auth.backends import ModelBackend
from django.core.exceptions import ValidationError
from django.db.models import Sum
from django.utils import timezone

from clinic.accounts.seats import seats_of

__all__ = ["DEMO_PASSWORD", "NotOurWords", "PasswordBackend"]

#: Words of this trade and of the demonstration clinic; a password made round one of them is guessed first.
WORDS = ("offload", "podiatr", "clinic", "marrowbeck")
LONGEST = 128
#: What has to be left of a password once the account's own names are taken out, and how short a name counts:
#: design choice; eight is the least length that ASVS 5.0 takes (6.2.1).
LEAST_OF_ONES_OWN = 8
SHORTEST_WORD = 3
#: From how many wrong guesses of one name in a quarter of an hour each waits, and how long: twice as
#: long with every ten more. Design choice: one after another that is 1,800 guesses an hour,
#: and its owner on a new device waits two seconds.
SLOW_FROM = 10
FIRST_WAIT_S, LONGEST_WAIT_S = 0.25, 2.0
pause = time.sleep
#: Of every demonstration login. The command refuses to run in production.
DEMO_PASSWORD = "marrowbeck-demo-2026"  # noqa: S105


def own_words(user: Any) -> list[str]:
    """Words of an account that a password is tried with first, the longest first."""
    if user is None:
        return []
    texts = [getattr(user, name, "") or "" for name in ("username", "first_name", "last_name", "email")]
    if getattr(user, "pk", None):
        texts += [word for names in user.sites.values_list("name", "short_name") for word in names]
    words = {part for text in texts for part in re.split(r"[\W_]+", text.lower())}
    words |= {text.lower() for text in texts}
    return sorted((word for word in words if len(word) >= SHORTEST_WORD), key=len, reverse=True)


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
        left = password.lower()
        for word in own_words(user):
            left = left.replace(word, "")
        if len(left) < LEAST_OF_ONES_OWN:
            raise ValidationError(
                f"Without your own names the password has {len(left)} characters; "
                f"at least {LEAST_OF_ONES_OWN} are needed."
            )

    def get_help_text(self) -> str:
        return "Not built round the words of this clinic."


def _slow_down(request: Any, username: str) -> None:
    """Wait before a name is tried that was guessed wrong often, from whatever addresses.

    Nobody is locked out by strangers: it is a wait, and a device on which the name signed in lately has none.
    """
    if username in seats_of(request):
        return
    since = timezone.now() - settings.AXES_COOLOFF_TIME
    tries = AccessAttempt.objects.filter(username=username, attempt_time__gt=since)
    wrong = tries.aggregate(n=Sum("failures_since_start"))["n"] or 0
    if wrong >= SLOW_FROM:
        pause(min(LONGEST_WAIT_S, FIRST_WAIT_S * 2 ** (wrong // SLOW_FROM - 1)))


class PasswordBackend(ModelBackend):
    """User name and password. The demonstration logins never work in production, whatever database is
    served.
    """

    def authenticate(
        self, request: Any, username: str | None = None, password: str | None = None, **kwargs: Any
    ) -> Any:
        if username and request is not None:
            _slow_down(request, username)
        if settings.PRODUCTION and password == DEMO_PASSWORD:
            return None
        return super().authenticate(request, username=username, password=password, **kwargs)
