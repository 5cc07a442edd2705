"""The state of an account, from the values of its row."""

from __future__ import annotations

from clinic.lifecycle.account import account_state_of
from clinic.lifecycle.chart import Allows
from clinic.models import User
from clinic.record.lifecycle import allowed

__all__ = ["account_allowed", "account_state"]


def account_state(user: User) -> str:
    signs_in = user.has_usable_password() or bool(user.sign_on_subject)
    return account_state_of(active=user.is_active, signs_in=signs_in)


def account_allowed(user: User, event: str) -> Allows:
    return allowed("account", account_state(user), event)
