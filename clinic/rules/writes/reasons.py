"""Adding a reason of the clinic's own, rewording one, taking one out of use. None is ever deleted."""

from __future__ import annotations

from django.db import transaction
from django.utils import timezone

from clinic.models import PROGRAM, ReasonKind, Site, SiteReason, User
from clinic.record.errors import Refused
from clinic.record.writes import audit
from clinic.record.writes.rows import store
from clinic.rules.reads.reasons import ReasonChoice, reason_listed, reason_of, reasons_of

__all__ = ["LONGEST_REASON", "reason_add", "reason_change", "reason_to_stop"]

LONGEST_REASON = 80


def _words(site: Site, kind: str, words: str, but: str = "") -> str:
    cleaned = " ".join(words.split())
    if not 3 <= len(cleaned) <= LONGEST_REASON:
        raise Refused(
            f"Reason: {len(cleaned)} characters given, between 3 and {LONGEST_REASON} are allowed.",
            field="words",
        )
    for reason in reasons_of(site)[kind]:
        if reason.key != but and reason.words.casefold() == cleaned.casefold():
            state = "retired here; use it again instead" if reason.retired else "in use here already"
            raise Refused(f"Reason: “{cleaned}” is {state}.", field="words")
    return cleaned


@transaction.atomic
def reason_add(*, by: User, site: Site, kind: str, words: str, counts_as: str) -> SiteReason:
    """A reason in the clinic's own words. In figures it counts as one of the program's."""
    if kind not in ReasonKind.values:
        raise Refused(f"Kind: {kind} is not one of {', '.join(ReasonKind.values)}.", field="kind")
    if counts_as not in PROGRAM[kind].values:
        raise Refused(
            f"Counts as: {counts_as or 'nothing'} is not one of {', '.join(PROGRAM[kind].values)}.",
            field="counts_as",
        )
    row = SiteReason(site=site, kind=kind, words=_words(site, kind, words), counts_as=counts_as)
    store(row, by=by)
    audit.record(by=by, site=site, verb="added", target=row, words=row.words, counts_as=row.counts_as)
    return row


@transaction.atomic
def reason_change(
    *, by: User, site: Site, kind: str, key: str, words: str, retired: bool, seen: int
) -> SiteReason:
    """Reword a reason or change whether it can be given; `seen` is its version, 0 for one of the program's
    unchanged.

    Records that name it keep the words they had.
    """
    reason = reason_listed(site, kind, key)
    if reason is None:
        raise Refused("This reason is not one of this clinic's.")
    cleaned = _words(site, kind, words, but=key)
    if cleaned == reason.words and retired == reason.retired:
        raise Refused("Nothing was changed.")
    if retired and not reason.retired:
        _stays_enough(site, kind, reason)
    row = reason.row or SiteReason(site=site, kind=kind, words=reason.words, counts_as=key, replaces=True)
    changes: dict[str, list[str | bool]] = {}
    if cleaned != reason.words:
        changes["words"] = [reason.words, cleaned]
    if retired != reason.retired:
        changes["in use"] = [not reason.retired, not retired]
    row.words = cleaned
    row.retired_at = (row.retired_at or timezone.now()) if retired else None
    store(row, by=by, expected_version=seen if row.pk else None)
    audit.record(by=by, site=site, verb="changed", target=row, changes=changes)
    return row


def _stays_enough(site: Site, kind: str, reason: ReasonChoice) -> None:
    """Somebody who departs or stops a device can always say why; the program itself names these two stops."""
    if reason.key == "other":
        raise Refused(f"“{reason.words}” stays: there has to be a reason for what no list foresaw.")
    if kind == ReasonKind.STOP and reason.key in ("healed", "changed"):
        raise Refused(f"“{reason.words}” stays: the figures tell these endings from the early ones.")


def reason_to_stop(site: Site, key: str) -> ReasonChoice:
    """The reason to stop a device, one that can be given at this site now."""
    found = reason_of(site, ReasonKind.STOP, key)
    if found is None:
        raise Refused("Why it stops: choose one of the reasons of this clinic.", field="stop_reason")
    return found
