"""Settings out of environment variables: a value that cannot be used becomes one sentence.

The sentence names the variable, what it holds and what it must be. Addresses and keys are never repeated:
they hold passwords, and the sentence may land in a log.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from ipaddress import IPv4Network, IPv6Network, ip_network
from pathlib import Path
from typing import Any
from urllib.parse import unquote, urlsplit
from zoneinfo import ZoneInfo

import environ
from django.core.exceptions import ImproperlyConfigured

__all__ = ["Environment"]

YES, NO = ("1", "true", "yes", "on"), ("0", "false", "no", "off", "")
ENGINES = ("django.db.backends.sqlite3", "django.db.backends.postgresql")
#: The roles of `clinic.models.Role`; models cannot be read before the settings.
ROLES = ("staff", "podiatrist", "manager")
LEVELS = ("DEBUG", "INFO", "WARNING", "ERROR", "CRITICAL")


@dataclass(frozen=True)
class Grant:
    """A group of the hospital's sign-on, and the role it has at a clinic (by its short name)."""

    group: str
    role: str
    site: str


class Environment:
    """The variables of one process, read by kind."""

    def __init__(self, variables: Mapping[str, str]) -> None:
        self.variables = variables

    def text(self, name: str, default: str = "") -> str:
        return self.variables.get(name, default).strip()

    def flag(self, name: str, default: bool = False) -> bool:
        if name not in self.variables:
            return default
        value = self.text(name).lower()
        if value not in YES + NO:
            raise ImproperlyConfigured(f"{name} is “{self.text(name)}”; it must be 1 or 0.")
        return value in YES

    def number(self, name: str, default: int, *, least: int = 0) -> int:
        value = self.text(name) or str(default)
        # Longer ones would be refused by whoever uses them, later and without a name.
        if not value.isascii() or not value.isdecimal() or len(value) > 9 or int(value) < least:
            raise ImproperlyConfigured(
                f"{name} is “{value[:40]}”; it must be a whole number from {least} to 999999999."
            )
        return int(value)

    def words(self, name: str, default: tuple[str, ...] = ()) -> list[str]:
        if name not in self.variables:
            return list(default)
        return [word.strip() for word in self.text(name).split(",") if word.strip()]

    def origins(self, name: str) -> list[str]:
        """Origins as a browser sends them: scheme and host."""
        found = self.words(name)
        for origin in found:
            if urlsplit(origin).scheme not in ("https", "http") or not urlsplit(origin).netloc:
                raise ImproperlyConfigured(
                    f"{name} holds “{origin}”; each origin must begin with https:// and name a host."
                )
        return found

    def networks(self, name: str, default: tuple[str, ...]) -> list[IPv4Network | IPv6Network]:
        """Addresses or networks, such as 10.0.3.0/24."""
        found = []
        for word in self.words(name, default):
            try:
                found.append(ip_network(word))
            except ValueError as fault:
                raise ImproperlyConfigured(
                    f"{name} holds “{word}”; each must be an address or a network such as 10.0.3.0/24."
                ) from fault
        return found

    def provider(self, name: str) -> str:
        """The address of a sign-on provider: https, or plain on this machine for a trial."""
        value = self.text(name)
        parts = urlsplit(value)
        here = parts.hostname in ("127.0.0.1", "localhost")
        if value and not (parts.hostname and (parts.scheme == "https" or (parts.scheme == "http" and here))):
            raise ImproperlyConfigured(
                f"{name} is “{value[:80]}”; it must be an address that begins with https://."
            )
        return value

    def grants(self, name: str) -> list[Grant]:
        """Which group of the hospital has which role at which clinic."""
        found = []
        for word in self.words(name):
            group, _, rest = word.rpartition("=")
            role, _, site = rest.partition("@")
            if not group or role not in ROLES or not site:
                raise ImproperlyConfigured(
                    f"{name} holds “{word[:80]}”; each must be GROUP=ROLE@CLINIC with one of the roles "
                    f"{', '.join(ROLES)} and a clinic's short name."
                )
            found.append(Grant(group, role, site))
        return found

    def zone(self, name: str, default: str) -> str:
        value = self.text(name) or default
        try:
            ZoneInfo(value)
        except (ValueError, OSError, LookupError) as fault:
            raise ImproperlyConfigured(
                f"{name} is “{value}”; it must be a zone such as Europe/London."
            ) from fault
        return value

    def choice(self, name: str, default: str, allowed: tuple[str, ...]) -> str:
        value = self.text(name) or default
        if value not in allowed:
            raise ImproperlyConfigured(f"{name} is “{value[:40]}”; it must be one of {', '.join(allowed)}.")
        return value

    def level(self, name: str, default: str) -> str:
        value = (self.text(name) or default).upper()
        if value not in LEVELS:
            raise ImproperlyConfigured(f"{name} is “{value}”; it must be one of {', '.join(LEVELS)}.")
        return value

    def folder(self, name: str, default: Path, *, made: bool = False) -> Path:
        """A folder's full path; `made`: it is made if it does not exist."""
        value = self.text(name)
        path = Path(value) if value else default
        if not path.is_absolute():
            raise ImproperlyConfigured(f"{name} is “{path}”; it must be a full path, beginning with /.")
        if made:
            try:
                path.mkdir(parents=True, exist_ok=True)
            except OSError as fault:
                raise ImproperlyConfigured(
                    f"{name} is “{path}”; it cannot be made or opened: {fault.strerror}."
                ) from fault
        return path

    def address(self, name: str, default: str, *, kind: str, example: str) -> dict[str, Any]:
        """What an address (`database`, `cache`, `mail`) stands for, as the framework wants it."""
        read = {
            "database": environ.Env.db_url_config,
            "cache": environ.Env.cache_url_config,
            "mail": environ.Env.email_url_config,
        }[kind]
        value = self.text(name) or default
        refused = f"{name} cannot be read as an address; it must look like {example} (its parts URL-encoded)."
        if not urlsplit(value).scheme:
            raise ImproperlyConfigured(refused)
        try:
            # A bad port shows only when it is asked for.
            urlsplit(value).port  # noqa: B018
            found = dict(read(value))
        except (ValueError, KeyError, TypeError, AttributeError, ImproperlyConfigured) as fault:
            raise ImproperlyConfigured(refused) from fault
        if kind == "database" and (found.get("ENGINE") not in ENGINES or not found.get("NAME")):
            raise ImproperlyConfigured(refused)
        if "HOST" in found:
            # A socket's folder stands there encoded.
            found["HOST"] = unquote(found["HOST"])
        return found


#: Hosts that only this machine reaches, or that only a test names.
LOCAL_HOSTS = {"127.0.0.1", "localhost", "[::1]", "testserver"}


def signs_of_a_clinic(env: Environment) -> str:
    """The first setting that nobody sets for development on one machine; empty where there is none."""
    if set(env.words("ALLOWED_HOSTS", ())) - LOCAL_HOSTS:
        return "ALLOWED_HOSTS"
    for name in ("BEHIND_PROXY", "TRUSTED_PROXIES", "SIGN_ON_ISSUER"):
        if env.text(name) not in ("", "0"):
            return name
    return ""
