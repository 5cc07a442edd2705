"""Whether the record is the one that was written: chain, copies, rows, files, triggers, keys, digest file.

The chain's rows carry the hash of each copy and row they wrote. A full pass follows every hash to its copy,
every copy to its row and every row to its file; it reads in pieces of fixed size. The daily part follows what
was written since the last line of the digest file.
"""

from __future__ import annotations

import time
from collections.abc import Iterator

from django.utils import timezone

from clinic.accounts.writes import digests
from clinic.accounts.writes.check_chain import chain_differences, slipped_in_copies
from clinic.accounts.writes.check_parts import (
    AlteredPlace,
    ChainSeen,
    erased_by_law,
)
from clinic.accounts.writes.check_places import (
    file_differences,
    loose_keys,
    small_copy_differences,
    standing_differences,
)
from clinic.accounts.writes.check_rows import gone_rows, live_differences, plain_differences, recorded_models
from clinic.models import AuditEvent, Verification, ViewBatch
from clinic.record.writes import read_log as reads
from clinic.relief.reads.stored_plans import altered_plans

__all__ = ["verify", "verify_and_keep"]

#: Sentences of one check that are kept for the managers' page: design choice.
KEPT = 100


def verify(*, full: bool = True) -> Iterator[AlteredPlace]:
    """Every difference between the record and what was written, each once and named."""
    seen, erased = ChainSeen(full), erased_by_law()
    lines = {} if full else digests.newest_lines()
    sites = {*AuditEvent.objects.order_by().values_list("site_id", flat=True).distinct()}
    for site_id in sorted(sites):
        line = lines.get(site_id, {"rows": 0, "digest": ""})
        yield from chain_differences(site_id, line["rows"], line["digest"], seen, erased)
    yield from map(AlteredPlace, digests.faults())
    yield from standing_differences()
    if full:
        for site_id in sorted({*ViewBatch.objects.order_by().values_list("site_id", flat=True).distinct()}):
            yield from map(AlteredPlace, reads.faults(site_id))
        yield from slipped_in_copies(seen)
        yield from loose_keys()
        yield from small_copy_differences()
        yield from (
            AlteredPlace(f"offload_reliefplan: row {row} is not as its digest says")
            for row in altered_plans()
        )
    for model in recorded_models():
        name = model._meta.model_name or ""
        yield from live_differences(model, None if full else seen.touched.get(name, set()))
        if full:
            yield from gone_rows(model)
            yield from file_differences(model)
    yield from plain_differences(seen, erased, full=full)


def verify_and_keep(*, full: bool) -> tuple[Verification, list[AlteredPlace]]:
    """Verify, and keep what was found for the managers' page: places and days, no value of anybody."""
    began, at = time.monotonic(), timezone.now()
    found = list(verify(full=full))
    kept = Verification.objects.create(
        at=at,
        full=full,
        faults=len(found),
        words=[fault.words for fault in found[:KEPT]],
        rows=AuditEvent.objects.count(),
        seconds=round(time.monotonic() - began, 1),
    )
    return kept, found
