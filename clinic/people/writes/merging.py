"""Two records of one person made into one, told apart, or parted again.

A merge is refused while the records contradict each other. Undoing puts back every column that was written;
it is refused once a row written since holds both records together.
"""

from __future__ import annotations

from typing import Any

from django.db import transaction
from django.utils import timezone
from django.utils.formats import date_format

from clinic.models import (
    OPEN_STATES,
    Episode,
    Lesion,
    Limb,
    Merge,
    PeopleApart,
    Person,
    PersonState,
    User,
    Visit,
    VisitState,
)
from clinic.people.reads.merge_rules import filled_limb, filled_person, relabelled
from clinic.people.reads.merging import merge_preview
from clinic.record.errors import Conflict, Refused, words_needed
from clinic.record.reads.person_rows import links_of, mixed_rows
from clinic.record.writes import audit
from clinic.record.writes.ledger import Ledger, put_back, stands_as_written
from clinic.record.writes.rows import store

__all__ = ["merge_undo", "people_keep_apart", "people_maybe_same", "person_merge"]


def _locked(*people: Person) -> list[Person]:
    """The people as they stand now, locked in one order so that two merges do not wait for each other."""
    keys = [person.pk for person in people]
    rows = Person.objects.select_for_update(of=("self",)).select_related("site")
    held = {row.pk: row for row in rows.filter(pk__in=keys).order_by("pk")}
    return [held[key] for key in keys]


@transaction.atomic
def person_merge(*, by: User, kept: Person, emptied: Person, because: str, mark: str) -> Merge:
    """Everything of the emptied record goes over to the kept one. `mark` is that of the preview that was
    looked at.
    """
    because = words_needed(because, "because")
    if kept.pk == emptied.pk:
        raise Refused("A record cannot be merged with itself.")
    kept, emptied = _locked(kept, emptied)
    preview = merge_preview(kept, emptied)
    if preview.hindrances:
        raise Refused(preview.hindrances[0].words)
    if preview.mark != mark:
        raise Conflict(
            "One of the records changed since you opened this page. Nothing was merged; look again."
        )
    merged_at, labels = timezone.now(), relabelled(kept, emptied).of
    dates = [side.open.last_visit.next_on for side in (preview.kept, preview.emptied) if side.open.last_visit]
    ledger = Ledger(by=by, why=f"merged: No. {emptied.record_number} into No. {kept.record_number}")
    _move(ledger, kept, emptied, labels)
    _keep_earlier_date(ledger, kept, [day for day in dates if day])
    if taken := filled_person(kept, emptied):
        ledger.write(kept, moved=False, **taken)
    for earlier in Person.objects.filter(merged_into=emptied).order_by("pk"):
        ledger.write(earlier, moved=True, merged_into_id=kept.pk)
    ledger.write(
        emptied, moved=False, state=PersonState.MERGED, state_on=timezone.localdate(), merged_into_id=kept.pk
    )
    merge = store(
        Merge(kept=kept, emptied=emptied, merged_at=merged_at, because=because, changes=ledger.changes),
        by=by,
    )
    audit.record(
        by=by,
        site=kept.site,
        verb="merged",
        target=merge,
        person=kept,
        kept=[kept.pk, kept.record_number],
        emptied=[emptied.pk, emptied.record_number],
        because=because,
        rows=ledger.counts(),
    )
    return merge


def _move(ledger: Ledger, kept: Person, emptied: Person, labels: dict[int, str]) -> None:
    episode = _join_episodes(ledger, kept, emptied)
    for pk, label in labels.items():  # letters first: two lesions of one episode never share one
        lesion = Lesion.objects.get(pk=pk)
        ledger.write(lesion, moved=True, label=label)
    feet = {limb.side: limb for limb in Limb.objects.filter(person=kept)}
    onto: dict[int, int] = {}
    for limb in Limb.objects.filter(person=emptied).order_by("side"):
        mine = feet.get(limb.side)
        if mine is None:
            ledger.write(limb, moved=True, person_id=kept.pk)
            continue
        onto[limb.pk] = mine.pk
        if taken := filled_limb(mine, limb):
            ledger.write(mine, moved=False, **taken)
    model: Any
    for model, name in links_of():
        if model is Limb:
            continue
        to: dict[int, int] = {emptied.pk: kept.pk} if name == "person" else onto
        for row in model._default_manager.filter(**{f"{name}__in": list(to)}).order_by("pk"):
            columns: dict[str, Any] = {f"{name}_id": to[getattr(row, f"{name}_id")]}
            if model is Episode and episode and row.ended_on is None:
                continue  # its lesions go over into the open one
            if model is Lesion and episode and row.episode_id == episode[0].pk:
                columns["episode_id"] = episode[1].pk
            ledger.write(row, moved=True, **columns)
    if episode:  # lesions of a foot that went over whole
        for lesion in Lesion.objects.filter(episode=episode[0]).order_by("pk"):
            ledger.write(lesion, moved=True, episode_id=episode[1].pk)


def _join_episodes(ledger: Ledger, kept: Person, emptied: Person) -> tuple[Episode, Episode] | None:
    """Both open episodes, when there are two: one goes on, from the earlier of both days."""
    here = Episode.objects.filter(person=kept, ended_on=None).first()
    there = Episode.objects.filter(person=emptied, ended_on=None).first()
    if here is None or there is None:
        return None
    columns: dict[str, Any] = {
        "first_presented_on": min(here.first_presented_on, there.first_presented_on),
        "first_assessed_on": min(here.first_assessed_on, there.first_assessed_on),
    }
    if not here.referred_by and there.referred_by:
        columns["referred_by"] = there.referred_by
    changed = {name: value for name, value in columns.items() if getattr(here, name) != value}
    if changed:
        ledger.write(here, moved=False, **changed)
    return there, here


def _keep_earlier_date(ledger: Ledger, kept: Person, dates: list[Any]) -> None:
    """Nobody is lost by a merge: of two agreed days the earlier stands, unless somebody has come since."""
    newest = Visit.objects.filter(person=kept, state=VisitState.STANDS).order_by("-visited_on", "-pk").first()
    if newest is None:
        return
    ahead = [day for day in dates if day > newest.visited_on]
    if ahead and (newest.next_on is None or min(ahead) < newest.next_on):
        ledger.write(newest, moved=False, next_on=min(ahead))


@transaction.atomic
def merge_undo(*, by: User, merge: Merge, because: str) -> list[str]:
    """Part the records again. What was corrected since stays as corrected; returns those columns in words."""
    because = words_needed(because, "because")
    merge = Merge.objects.select_for_update(of=("self",)).get(pk=merge.pk)
    if merge.undone_at:
        raise Refused("This merge was undone already.")
    kept, emptied = _locked(merge.kept, merge.emptied)
    _check_undo(merge, kept, emptied)
    left = put_back(merge.changes, by=by, why=f"merge of {date_format(merge.merged_at)} undone")
    for row in mixed_rows(kept, emptied):
        raise Refused(
            f"A {row._meta.verbose_name} written since ({row}, No. {row.pk}) holds both records together: "
            "the merge "
            "can no longer be undone."
        )
    _check_episodes(merge)
    merge.undone_at, merge.undone_by, merge.undone_because = timezone.now(), by, because
    store(merge, by=by)
    audit.record(
        by=by,
        site=kept.site,
        verb="undid the merge of",
        target=merge,
        person=kept,
        kept=[kept.pk, kept.record_number],
        parted=[emptied.pk, emptied.record_number],
        because=because,
        left_as_corrected=[f"{change['noun']}.{change['column']}" for change in left],
    )
    return [change["column"].replace("_", " ") for change in left]


def _check_undo(merge: Merge, kept: Person, emptied: Person) -> None:
    if kept.restricted_on:
        raise Refused("This record is restricted: a manager can lift the restriction first.")
    if emptied.merged_into_id != kept.pk:
        raise Refused("The record was merged further since: undo the later merge first.")
    later = Merge.objects.filter(kept=kept, undone_at=None, pk__gt=merge.pk).select_related("emptied").first()
    if later:
        raise Refused(f"No. {later.emptied.record_number} was merged in later: undo that merge first.")
    if kept.site_id != emptied.site_id:
        raise Refused("The records are at two clinics by now.")
    # Wherever a row of the emptied record was moved on by hand, nobody can say any more where it belongs.
    for change in merge.changes:
        if change["moved"] and not stands_as_written(change):
            raise Refused(
                f"The {change['noun']} No. {change['pk']} was moved or renamed since: the merge can no "
                "longer be undone."
            )


def _check_episodes(merge: Merge) -> None:
    """Each record's episodes must be open as long as a lesion of them is, and no longer."""
    moves = [change for change in merge.changes if change["column"] == "episode_id"]
    keys = {change[then] for change in moves for then in ("before", "after")}
    for episode in Episode.objects.filter(pk__in=keys):
        still = episode.lesions.filter(state__in=OPEN_STATES).exists()
        if still != (episode.ended_on is None):
            raise Refused(
                "Since the merge the ulcers of one of the records have ended, or one opened again, within "
                "the joined "
                "episode: the merge can no longer be undone."
            )


def _pair(one: Person, other: Person) -> tuple[int, int]:
    if one.pk == other.pk:
        raise Refused("These are one record.")
    return (one.pk, other.pk) if one.pk < other.pk else (other.pk, one.pk)


@transaction.atomic
def people_keep_apart(*, by: User, one: Person, other: Person) -> PeopleApart:
    """Two records alike are of two people: the pair leaves the list of likely duplicates."""
    first, second = _pair(one, other)
    if one.site_id != other.site_id:
        raise Refused("The records are at two clinics.")
    if PeopleApart.objects.filter(first_id=first, second_id=second, taken_back_at=None).exists():
        raise Refused("These two were told apart already.")
    row = PeopleApart.objects.create(
        site=one.site, first_id=first, second_id=second, at=timezone.now(), by=by
    )
    audit.record(
        by=by, site=one.site, verb="told apart", target=row, person=one, other=[other.pk, other.record_number]
    )
    return row


@transaction.atomic
def people_maybe_same(*, by: User, one: Person, other: Person) -> PeopleApart:
    """Take that back: the pair may stand on the list again."""
    first, second = _pair(one, other)
    row = (
        PeopleApart.objects.select_for_update()
        .filter(first_id=first, second_id=second, taken_back_at=None)
        .first()
    )
    if row is None:
        raise Refused("These two were not told apart.")
    row.taken_back_at = timezone.now()
    row.save(update_fields=["taken_back_at"])
    audit.record(
        by=by,
        site=one.site,
        verb="no longer told apart",
        target=row,
        person=one,
        other=[other.pk, other.record_number],
    )
    return row
