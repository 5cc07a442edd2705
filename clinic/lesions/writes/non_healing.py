"""Opening a non-healing review, doing what it left due, and deciding what good care has come to."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date

from django.db import transaction
from django.utils import timezone
from django.utils.formats import date_format

from clinic.guidelines.failed_care import NOT_HEALING
from clinic.models import (
    CareOutcome,
    Event,
    EventKind,
    ItemState,
    Lesion,
    LesionState,
    NonHealingItem,
    NonHealingReview,
    NonHealingTopic,
    Role,
    User,
)
from clinic.record.errors import Refused
from clinic.record.writes import audit
from clinic.record.writes.rows import store

__all__ = ["ItemFound", "item_close", "review_decide", "review_open"]


@dataclass(frozen=True)
class ItemFound:
    """How one cause ends; `facts` are the sentences that stood beside it."""

    state: str
    words: str
    owner: User | None = None
    due_on: date | None = None
    facts: Sequence[str] = field(default_factory=tuple)


def _check(topic: NonHealingTopic, found: ItemFound | None, opened_on: date, site_id: int) -> ItemFound:
    if found is None or found.state not in ItemState.values:
        raise Refused(f"{topic.label}: done, due, or not needed; one is needed.", field=f"{topic}_state")
    if not found.words.strip():
        raise Refused(
            f"{topic.label}: say what was done, what is to do, or why it is not needed.",
            field=f"{topic}_words",
        )
    if found.state == ItemState.DUE:
        if found.owner is None:
            raise Refused(f"{topic.label}: who does it? Choose an owner.", field=f"{topic}_owner")
        if not found.owner.sites.filter(pk=site_id).exists():
            raise Refused(f"{topic.label}: {found.owner} does not work here.", field=f"{topic}_owner")
        if found.due_on is None:
            raise Refused(f"{topic.label}: until when? A day is needed.", field=f"{topic}_due_on")
        if found.due_on < opened_on:
            raise Refused(
                f"{topic.label}: due on {date_format(found.due_on)}; the earliest possible is the day of the "
                f"review, {date_format(opened_on)}.",
                field=f"{topic}_due_on",
            )
    return found


@transaction.atomic
def review_open(
    *,
    by: User,
    lesion: Lesion,
    opened_on: date,
    verdict_kind: str,
    verdict: str,
    items: Mapping[str, ItemFound],
) -> NonHealingReview:
    """Keep the whole review; each item that is due also stands on the curve as a decision of that day."""
    if lesion.state != LesionState.OPEN:
        raise Refused(f"This ulcer is {lesion.get_state_display().lower()}; the review is for an open one.")
    if verdict_kind not in NOT_HEALING:
        raise Refused(
            f"The verdict reads {verdict}; a review is opened when it reads slow, static or worsening."
        )
    person = lesion.limb.person
    checked = {topic: _check(topic, items.get(topic), opened_on, person.site_id) for topic in NonHealingTopic}
    review = store(NonHealingReview(lesion=lesion, opened_on=opened_on, verdict=verdict), by=by)
    for topic, found in checked.items():
        is_due = found.state == ItemState.DUE
        store(
            NonHealingItem(
                review=review,
                topic=topic,
                state=found.state,
                words=found.words.strip(),
                owner=found.owner if is_due else None,
                due_on=found.due_on if is_due else None,
                facts=list(found.facts),
            ),
            by=by,
        )
        if is_due:
            note = f"{topic.label}: {found.words.strip()}"
            store(
                Event(
                    limb=lesion.limb, lesion=lesion, kind=EventKind.DECISION, happened_on=opened_on, note=note
                ),
                by=by,
            )
    due = [topic for topic, found in checked.items() if found.state == ItemState.DUE]
    audit.record(by=by, site=person.site, verb="opened", target=review, person=person, due=due)
    return review


@transaction.atomic
def item_close(
    *, by: User, item: NonHealingItem, state: str, words: str, expected_version: int
) -> NonHealingItem:
    """End an item that was due: done, or not needed after all. Owner and day stay as they were agreed."""
    if item.state != ItemState.DUE:
        raise Refused(f"{item.get_topic_display()}: {item.get_state_display().lower()} already.")
    if state not in (ItemState.DONE, ItemState.NOT_NEEDED):
        raise Refused("It is now: done or not needed; one is needed.", field="state")
    if not words.strip():
        raise Refused("Say what was done, or why it is not needed.", field="words")
    item.state, item.words = state, words.strip()
    store(item, by=by, expected_version=expected_version)
    person = item.review.lesion.limb.person
    audit.record(by=by, site=person.site, verb="closed", target=item, person=person, state=state)
    return item


@transaction.atomic
def review_decide(
    *, by: User, review: NonHealingReview, outcome: str, outcome_words: str, expected_version: int
) -> NonHealingReview:
    """A podiatrist decides what the review comes to. Good care has not failed while part of it is still to
    be given; the talk about surgery alone may be outstanding.
    """
    if by.role != Role.PODIATRIST:
        raise Refused("The review comes to: a podiatrist decides it.", field="outcome")
    if outcome not in CareOutcome.values:
        raise Refused("The review comes to: choose one of the list.", field="outcome")
    if not outcome_words.strip():
        raise Refused("In words: say why.", field="outcome_words")
    if outcome == CareOutcome.FAILED:
        left = [
            one.get_topic_display().lower()
            for one in NonHealingItem.objects.filter(
                review__lesion=review.lesion_id, state=ItemState.DUE
            ).exclude(topic=NonHealingTopic.SURGERY)
        ]
        if left:
            raise Refused(
                f"Good care has not been given in full yet; still due: {', '.join(left)}.", field="outcome"
            )
    review.outcome, review.outcome_words = outcome, outcome_words.strip()
    review.outcome_on = timezone.localdate()
    store(review, by=by, expected_version=expected_version)
    person = review.lesion.limb.person
    audit.record(by=by, site=person.site, verb="decided", target=review, person=person, outcome=outcome)
    return review
