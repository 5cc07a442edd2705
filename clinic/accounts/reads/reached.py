"""Whether a browser reaches the sign-in page under the clinic's address, through the proxy in front."""

from __future__ import annotations

import http.client
import ssl
from urllib.parse import urlsplit

from clinic.accounts.reads.doctor import FAULT, WELL, DoctorLine

__all__ = ["reached"]

SECONDS = 15


def reached(url: str) -> DoctorLine:
    """One request of the sign-in page, no redirect followed."""
    parts = urlsplit(url)
    if parts.scheme not in ("http", "https") or not parts.hostname:
        return DoctorLine(
            "address", FAULT, f"“{url}” is no address.", "Give one such as https://clinic.example.org"
        )
    kind = http.client.HTTPSConnection if parts.scheme == "https" else http.client.HTTPConnection
    requested = kind(parts.hostname, parts.port, timeout=SECONDS)
    try:
        requested.request("GET", "/sign-in/")
        answer = requested.getresponse()
        status, where = answer.status, answer.getheader("Location") or ""
    except ssl.SSLError as fault:
        return DoctorLine(
            "address",
            FAULT,
            f"The certificate of {parts.hostname} is not accepted: {fault.reason or type(fault).__name__}.",
            "Put a certificate of this name, with its chain, where the proxy's site names it.",
        )
    except (OSError, http.client.HTTPException) as fault:
        return DoctorLine(
            "address",
            FAULT,
            f"Nothing answers at {url}: {type(fault).__name__}.",
            "Start the proxy, and look at its error log and at the name in the domain name system.",
        )
    finally:
        requested.close()
    if status == 200:
        return DoctorLine("address", WELL, f"The sign-in page is reached at {url}.")
    if status in (301, 302, 308) and where.startswith(f"https://{parts.netloc}/sign-in/"):
        if parts.scheme == "http":
            return DoctorLine("address", WELL, f"{url} leads to https.")
        return DoctorLine(
            "address",
            FAULT,
            "The page redirects to itself for ever: the program does not believe the proxy that the client "
            "came by https.",
            "Let the proxy write X-Forwarded-Proto, set BEHIND_PROXY=1, and name its address in "
            "TRUSTED_PROXIES.",
        )
    if status == 400:
        return DoctorLine(
            "address",
            FAULT,
            f"The program does not serve the name {parts.hostname}.",
            "Add it to ALLOWED_HOSTS, and let the proxy pass the Host header on.",
        )
    return DoctorLine(
        "address",
        FAULT,
        f"{url} answers {status}.",
        "Look whether the service runs: systemctl status clinic; then at its log.",
    )
