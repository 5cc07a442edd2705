"""What a reverse proxy tells of the client, believed only from the proxies that the settings name."""

from __future__ import annotations

from collections.abc import MutableMapping
from ipaddress import IPv4Address, IPv6Address, ip_address
from typing import Any

from django.conf import settings

__all__ = ["address_of", "believe"]


def address_of(words: str) -> IPv4Address | IPv6Address | None:
    """An address, with or without a port behind it; None for anything else."""
    words = words.strip().strip('"')
    if words.startswith("["):
        words = words[1:].partition("]")[0]
    elif words.count(":") == 1:
        words = words.partition(":")[0]
    words = words.partition("%")[0]  # the zone of a link-local address says nothing to others
    try:
        found = ip_address(words)
    except ValueError:
        return None
    mapped = found.ipv4_mapped if isinstance(found, IPv6Address) else None
    return mapped or found


def _trusted(peer: str) -> bool:
    if not peer:
        # A Unix socket has no address: only this machine reaches it.
        return True
    address = address_of(peer)
    return address is not None and any(
        address.version == net.version and address in net for net in settings.TRUSTED_PROXIES
    )


def believe(meta: MutableMapping[str, Any]) -> None:
    """Put the client's address and scheme in the place of the proxy's.

    The last address is the one our proxy added itself; what stands before it came from the client.
    """
    if not settings.BEHIND_PROXY or not _trusted(str(meta.get("REMOTE_ADDR", ""))):
        return
    client = address_of(str(meta.get("HTTP_X_FORWARDED_FOR", "")).split(",")[-1])
    if client is not None:
        meta["REMOTE_ADDR"] = str(client)
    scheme = str(meta.get("HTTP_X_FORWARDED_PROTO", "")).split(",")[-1].strip()
    if scheme in ("http", "https"):
        meta["wsgi.url_scheme"] = scheme
