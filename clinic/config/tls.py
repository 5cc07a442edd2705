"""Connections that leave this machine are encrypted, and the other end shows a certificate that is
checked.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any
from urllib.parse import urlsplit

__all__ = ["cache_fault", "database_fault", "mail_fault"]

#: PostgreSQL's modes that check the server's certificate; `require` encrypts towards anybody.
CHECKED = ("verify-ca", "verify-full")
HERE = ("", "localhost", "127.0.0.1", "::1")
#: Caches that live in this process, on this disk or in the database itself.
NO_NETWORK = ("locmem", "dummy", "file", "db")


def _here(host: str) -> bool:
    return host in HERE or host.startswith("/")


def database_fault(database: Mapping[str, Any]) -> str:
    """What is wrong with a database's connection; empty where it stays on this machine or is encrypted
    and checked.
    """
    options = database.get("OPTIONS", {})
    # The client library takes a host from the options as well, and an address before a name.
    named = (database.get("HOST"), options.get("host"), options.get("hostaddr"))
    # Several with commas between: the first that takes writes, for a failover.
    hosts = [host for values in named if values for host in str(values).split(",")]
    if database["ENGINE"].endswith("sqlite3") or all(map(_here, hosts)):
        return ""
    mode = str(options.get("sslmode", "")) or "not given"
    if mode in CHECKED:
        return ""
    return (
        f"sslmode of the database on {hosts[0]} is {mode}; on another machine it must be "
        f"{' or '.join(CHECKED)}"
    )


def cache_fault(url: str) -> str:
    """The same for the cache."""
    parts = urlsplit(url)
    if parts.scheme.startswith(NO_NETWORK) or _here(parts.hostname or "") or parts.scheme == "rediss":
        return ""
    return f"CACHE_URL names {parts.hostname} without TLS; on another machine it must be rediss://"


def mail_fault(url: str) -> str:
    """The same for mail: counts of a clinic and the password of its mailbox."""
    parts = urlsplit(url)
    if not parts.scheme.startswith("smtp") or _here(parts.hostname or "") or "+" in parts.scheme:
        return ""
    return (
        f"EMAIL_URL names {parts.hostname} without TLS; on another machine it must be smtp+tls:// or "
        "smtp+ssl://"
    )
