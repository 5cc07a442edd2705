"""The daily head digest: what each chain ended in, kept in a file outside the database.

A chain cannot show that its tail was cut; a line that remembers the tail can. Each line is bound to the one
before, so the file shows its own tampering too. Keep a copy where the database's keeper cannot write.
"""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from django.conf import settings
from django.utils import timezone

from clinic.models import AuditEvent, Erasure, Site, ViewBatch
from clinic.record.writes import audit
from clinic.record.writes import read_log as reads

__all__ = ["all_faults", "erased_numbers", "faults", "path", "write"]


def path() -> Path:
    return Path(settings.DIGEST_DIR) / "heads.jsonl"


def _bound(line: dict[str, Any], previous: str) -> str:
    return hashlib.sha256((previous + audit.canonical(line)).encode()).hexdigest()


def _lines() -> list[dict[str, Any]]:
    if not path().exists():
        return []
    return [json.loads(line) for line in path().read_text().splitlines() if line.strip()]


def write() -> list[str]:
    """Close the open batch of reads of each site and write the heads of its chains; one line a site."""
    path().parent.mkdir(parents=True, exist_ok=True)
    old = _lines()
    previous = old[-1]["line"] if old else ""
    written = []
    with path().open("a") as out:
        for site in Site.objects.order_by("pk"):
            reads.batch(site.pk)
            head = AuditEvent.objects.filter(site_id=site.pk).order_by("-sequence").first()
            views = ViewBatch.objects.filter(site_id=site.pk).order_by("-sequence").first()
            line: dict[str, Any] = {
                "at": timezone.now().isoformat(timespec="seconds"),
                "site": site.pk,
                "rows": head.sequence if head else 0,
                "digest": head.digest if head else "",
                "batches": views.sequence if views else 0,
                "batch_digest": views.digest if views else "",
                "erased": list(
                    Erasure.objects.filter(site=site)
                    .order_by("person_id")
                    .values_list("person_id", flat=True)
                ),
            }
            line["line"] = previous = _bound(line, previous)
            out.write(json.dumps(line, sort_keys=True) + "\n")
            written.append(f"{site.name}: {line['rows']} rows, head {str(line['digest'])[:16]}")
        out.flush()
        os.fsync(out.fileno())
    return written


def faults() -> Iterator[str]:
    """Where a chain no longer holds what a line of the file says it held, and where the file was altered."""
    previous = ""
    newest: dict[int, dict[str, Any]] = {}
    for number, line in enumerate(_lines(), start=1):
        bound = line.pop("line", "")
        if _bound(line, previous) != bound:
            yield f"line {number} of {path().name} was altered or does not follow the line before it"
        previous = bound
        newest[line["site"]] = line
        if line["rows"]:
            row = AuditEvent.objects.filter(site_id=line["site"], sequence=line["rows"]).first()
            if row is not None and row.digest != line["digest"]:
                yield f"row {line['rows']} of site {line['site']} is not the one of {line['at']}"
        if line["batches"]:
            stored = ViewBatch.objects.filter(site_id=line["site"], sequence=line["batches"]).first()
            if stored is not None and stored.digest != line["batch_digest"]:
                yield (
                    f"batch {line['batches']} of the reads of site {line['site']} is not the one of "
                    f"{line['at']}"
                )
    for site_id, line in newest.items():
        last = (
            AuditEvent.objects.filter(site_id=site_id)
            .order_by("-sequence")
            .values_list("sequence", flat=True)
        ).first() or 0
        if last < line["rows"]:
            yield (
                f"rows {last + 1} to {line['rows']} of site {site_id} are cut off: they stood on {line['at']}"
            )
        batches = (
            ViewBatch.objects.filter(site_id=site_id).order_by("-sequence").values_list("sequence", flat=True)
        ).first() or 0
        if batches < line["batches"]:
            yield (
                f"batches {batches + 1} to {line['batches']} of the reads of site {site_id} are cut off: "
                f"they stood on {line['at']}"
            )


def erased_numbers() -> list[int]:
    """Numbers of records erased so far, from the file: a backup made before must not bring them back."""
    return sorted({number for line in _lines() for number in line.get("erased", [])})


def all_faults() -> Iterator[str]:
    """Every fault of every chain and of the file."""
    for site_id in AuditEvent.objects.order_by("site_id").values_list("site_id", flat=True).distinct():
        yield from audit.faults(site_id)
    for site_id in ViewBatch.objects.order_by("site_id").values_list("site_id", flat=True).distinct():
        yield from reads.faults(site_id)
    yield from faults()
