"""The daily head digest: what each chain ended in, kept in a file outside the database.

A chain cannot show that its tail was cut; a line that remembers the tail can. Each line is bound to the one
before with a key that is in no backup (HMAC-SHA-256, RFC 2104), so that whoever writes chain and file anew
still cannot make the lines. Keep a copy where the database's keeper cannot write.
"""

from __future__ import annotations

import hashlib
import hmac
import json
import os
import secrets
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

from django.conf import settings
from django.db import transaction
from django.utils import timezone

from clinic.models import AuditEvent, Erasure, Site, ViewBatch
from clinic.record.writes import audit
from clinic.record.writes import read_log as reads

__all__ = [
    "KeyFault",
    "erased_numbers",
    "faults",
    "make_key",
    "newest_lines",
    "path",
    "second_path",
    "write",
]


LATEST = timedelta(days=2)  # design choice: a day is missed once before it is a fault
KEY_BYTES = 32  # design choice: as long as the hash


class KeyFault(ValueError):
    """The key of the digest file is missing or cannot be read; the sentence says what to do."""


def path() -> Path:
    return Path(settings.DIGEST_DIR) / "heads.jsonl"


def second_path() -> Path | None:
    """The same lines at another place, best on another machine."""
    return Path(settings.DIGEST_SECOND_DIR) / "heads.jsonl" if settings.DIGEST_SECOND_DIR else None


def _key() -> bytes:
    """The key that binds the lines. Outside production it is made with the first line."""
    file = Path(settings.DIGEST_KEY_FILE)
    if not file.exists():
        if settings.PRODUCTION or _lines(path()):
            raise KeyFault(
                f"the key of the digest file, {file}, is missing. Put the kept copy there; for a new clinic "
                "make one: openssl rand -hex 32 > FILE, readable by the service alone"
            )
        make_key()
    try:
        key = bytes.fromhex(file.read_text().strip())
    except (OSError, ValueError) as fault:
        raise KeyFault(f"the key of the digest file, {file}, cannot be read as hexadecimal digits") from fault
    if len(key) < KEY_BYTES:
        raise KeyFault(f"the key of the digest file has {len(key)} bytes; the least is {KEY_BYTES}")
    return key


def make_key() -> Path | None:
    """Make the key where there is none and no line was written yet; its file, or None."""
    file = Path(settings.DIGEST_KEY_FILE)
    if file.exists() or _lines(path()):
        return None
    file.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
    with os.fdopen(os.open(file, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w") as out:
        out.write(secrets.token_hex(KEY_BYTES) + "\n")
    return file


def _bound(line: dict[str, Any], previous: str, key: bytes) -> str:
    return hmac.new(key, (previous + audit.canonical(line)).encode(), hashlib.sha256).hexdigest()


def _lines(file: Path) -> list[dict[str, Any]]:
    """Lines of a digest file; one that cannot be read is an empty line, which binds nothing."""
    if not file.exists():
        return []
    found = []
    for text in file.read_text(errors="replace").splitlines():
        if text.strip():
            try:
                line = json.loads(text)
            except (ValueError, RecursionError):
                line = {}
            whole = isinstance(line, dict) and {"at", "site", "rows", "digest", "batches"} <= set(line)
            found.append(line if whole else {})
    return found


def _site_line(site: Site) -> dict[str, Any]:
    reads.batch(site.pk)
    head = AuditEvent.objects.filter(site_id=site.pk).order_by("-sequence").first()
    views = ViewBatch.objects.filter(site_id=site.pk).order_by("-sequence").first()
    return {
        "at": timezone.now().isoformat(timespec="seconds"),
        "site": site.pk,
        "rows": head.sequence if head else 0,
        "digest": head.digest if head else "",
        "batches": views.sequence if views else 0,
        "batch_digest": views.digest if views else "",
        "erased": list(
            Erasure.objects.filter(site=site).order_by("person_id").values_list("person_id", flat=True)
        ),
    }


def write() -> list[str]:
    """Close the open batch of reads of each site and write the heads of its chains; one line a site.

    That they were written, and how many lines there are, is itself a row of each chain: a file that is gone
    or shorter is seen.
    """
    key = _key()
    old = _lines(path())
    previous = old[-1].get("line", "") if old else ""
    written, texts, total = [], [], len(old)
    sites = list(Site.objects.order_by("pk"))
    for site in sites:
        line = _site_line(site)
        line["line"] = previous = _bound(line, previous, key)
        texts.append(json.dumps(line, sort_keys=True) + "\n")
        written.append(f"{site.name}: {line['rows']} rows, head {str(line['digest'])[:16]}")
    total += len(texts)
    for place in filter(None, (path(), second_path())):
        place.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        with os.fdopen(os.open(place, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o600), "a") as out:
            out.write("".join(texts))
            out.flush()
            os.fsync(out.fileno())
    for site in sites:
        with transaction.atomic():
            audit.record(by=None, site=site, verb="anchored", target=site, lines=total, line=previous)
    return written


def newest_lines() -> dict[int, dict[str, Any]]:
    """The last line of each site."""
    return {line["site"]: line for line in _lines(path()) if line}


def _file_faults(lines: list[dict[str, Any]]) -> Iterator[str]:
    name = path().name
    try:
        key = _key() if lines else b""
    except KeyFault as fault:
        yield str(fault)
        return
    previous = ""
    for number, line in enumerate(lines, start=1):
        values = {word: value for word, value in line.items() if word != "line"}
        bound = str(line.get("line", ""))
        if not hmac.compare_digest(_bound(values, previous, key), bound):
            yield f"line {number} of {name} was altered or does not follow the line before it"
        previous = bound
    second = second_path()
    if second is not None:
        others = _lines(second)
        if len(others) > len(lines):
            yield f"{name} has {len(lines)} lines, its copy at the second place {len(others)}"
        for number, (line, other) in enumerate(zip(lines, others, strict=False), start=1):
            if line != other:
                yield f"line {number} of {name} is not the one at the second place"


def _anchor_faults(lines: list[dict[str, Any]]) -> Iterator[str]:
    """Where the chain remembers more lines, or another line, than the file has."""
    anchors = AuditEvent.objects.filter(verb="anchored", target_kind="site")
    for site_id in anchors.order_by().values_list("site_id", flat=True).distinct():
        for event in anchors.filter(site_id=site_id).order_by("-sequence")[:1]:
            stated = json.loads(event.payload)
            day = f"{event.at:%-d %b %Y}"
            if len(lines) < stated["lines"]:
                yield (
                    f"{path().name} has {len(lines)} lines; on {day} it had {stated['lines']} "
                    f"(row {event.sequence} of site {site_id})"
                )
            elif lines[stated["lines"] - 1].get("line") != stated["line"]:
                yield (
                    f"line {stated['lines']} of {path().name} is not the one of {day} "
                    f"(row {event.sequence} of site {site_id})"
                )


def _unwritten(lines: list[dict[str, Any]]) -> Iterator[str]:
    """Sites of which no line tells although a day of theirs should have been written long ago."""
    stated = {line["site"] for line in lines if line}
    firsts = AuditEvent.objects.filter(sequence=1, at__lt=timezone.now() - LATEST).exclude(site_id__in=stated)
    for site_id, at in firsts.order_by("site_id").values_list("site_id", "at"):
        yield f"{path().name} has no line of site {site_id}, whose chain began on {at:%-d %b %Y}"


def faults() -> Iterator[str]:
    """Where a chain no longer holds what a line of the file says it held, and where the file was altered."""
    lines = _lines(path())
    yield from _file_faults(lines)
    yield from _anchor_faults(lines)
    yield from _unwritten(lines)
    for site_id, line in newest_lines().items():
        last, digest = _end(AuditEvent, site_id, line["rows"])
        if last < line["rows"]:
            yield (
                f"clinic_auditevent: rows {last + 1} to {line['rows']} of site {site_id} are cut off: "
                f"they stood on {line['at']}"
            )
        elif line["rows"] and digest != line["digest"]:
            yield f"clinic_auditevent: row {line['rows']} of site {site_id} is not the one of {line['at']}"
        last, digest = _end(ViewBatch, site_id, line["batches"])
        if last < line["batches"]:
            yield (
                f"clinic_viewbatch: batches {last + 1} to {line['batches']} of the reads of site {site_id} "
                f"are cut off: they stood on {line['at']}"
            )
        elif line["batches"] and digest != line["batch_digest"]:
            yield (
                f"clinic_viewbatch: batch {line['batches']} of the reads of site {site_id} is not "
                f"the one of {line['at']}"
            )


def _end(model: Any, site_id: int, at: int) -> tuple[int, str]:
    """The last number of a site's chain, and the digest of one row; empty where that row is not there."""
    rows = model.objects.filter(site_id=site_id)
    last = rows.order_by("-sequence").values_list("sequence", flat=True).first() or 0
    return last, rows.filter(sequence=at).values_list("digest", flat=True).first() or ""


def erased_numbers() -> list[int]:
    """Numbers of records erased so far, from the file: a backup made before must not bring them back."""
    return sorted({number for line in _lines(path()) for number in line.get("erased", [])})
