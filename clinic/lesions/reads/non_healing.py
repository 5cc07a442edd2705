"""Non-healing reviews: which are due, what they left to do, and whether good care has failed."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any, cast

from django.db.models import Max, QuerySet

from clinic.curves.reads.healing import LesionHealing, healings_of, not_healing_since
from clinic.guidelines.due import DueStanding, days_overdue, due_standing, non_healing_late
from clinic.guidelines.failed_care import (
    NOT_HEALING,
    CareReview,
    CareStanding,
    Outcome,
    care_standing,
)
from clinic.models import ItemState, Lesion, NonHealingItem, NonHealingReview, NonHealingTopic
from clinic.record.dates import day_words

__all__ = [
    "ItemRow",
    "care_of",
    "item_row",
    "items_due",
    "last_reviews",
    "review_due_words",
    "reviews_of",
    "verdict_words",
]


def _newest(lesions: Any) -> QuerySet[Any, Any]:
    reviews = NonHealingReview.objects.filter(lesion__in=lesions).order_by()
    return reviews.values_list("lesion_id").annotate(Max("opened_on"))


def last_reviews(lesions: Iterable[Lesion]) -> dict[int, date]:
    """By lesion, the day its newest review was opened (one query)."""
    return dict(_newest([lesion.pk for lesion in lesions]))


def review_due_words(kind: str, last: date | None, today: date) -> str:
    """Why a non-healing review is due, or nothing; `kind` is that of the verdict."""
    if kind not in NOT_HEALING or not non_healing_late(last, today):
        return ""
    if last is None:
        return "Non-healing review due: none opened yet."
    return f"Non-healing review due: last opened {day_words(last)}."


def reviews_of(lesion: Lesion) -> list[NonHealingReview]:
    """Reviews of one ulcer with their items, newest first (two queries)."""
    rows = lesion.non_healing_reviews.select_related("created_by").prefetch_related("items__owner")
    return list(rows)


@dataclass(frozen=True)
class ItemRow:
    """An item that somebody owns, with how it stands to its day."""

    item: NonHealingItem
    standing: DueStanding
    sentence: str

    @property
    def asks(self) -> bool:
        return self.standing != "coming"


def item_row(item: NonHealingItem, today: date) -> ItemRow:
    """How an item that is due stands; no query where its owner was fetched with it."""
    due_on = item.due_on or today
    standing = due_standing(due_on, today)
    late = days_overdue(due_on, today)
    words = f"{item.get_topic_display()}: {item.words}; owner {item.owner}, due {day_words(due_on)}"
    if late:
        words += f", {late} day{'' if late == 1 else 's'} late"
    return ItemRow(item, standing, words)


def items_due(today: date, **whose: Any) -> list[ItemRow]:
    """Items still to do, the earliest first (one query); `whose` filters them."""
    rows = NonHealingItem.objects.filter(state=ItemState.DUE, **whose)
    rows = rows.select_related("owner", "review__lesion__limb").order_by("due_on", "pk")
    return [item_row(item, today) for item in rows]


def verdict_words(healing: LesionHealing, today: date) -> str:
    """The verdict with how long it has read so: "stalled, 9 weeks"."""
    since = not_healing_since(healing)
    if since is None:
        return healing.words
    days = (today - since).days
    return f"{healing.words}, {days // 7} weeks" if days >= 14 else f"{healing.words}, {days} days"


def care_of(
    lesions: Sequence[Lesion], today: date, healings: dict[int, LesionHealing] | None = None
) -> dict[int, CareStanding]:
    """By lesion, whether good care without surgery has failed, from its verdict and its newest decided review
    (seven queries, two where the courses were read already).
    """
    judged = healings if healings is not None else healings_of(lesions)
    reviews: dict[int, list[NonHealingReview]] = {}
    for row in NonHealingReview.objects.filter(lesion__in=[one.pk for one in lesions]).prefetch_related(
        "items"
    ):
        reviews.setdefault(row.lesion_id, []).append(row)
    return {one.pk: _care(one, judged[one.pk], reviews.get(one.pk, []), today) for one in lesions}


def _care(
    lesion: Lesion, healing: LesionHealing, reviews: Sequence[NonHealingReview], today: date
) -> CareStanding:
    newest = next((row for row in reviews if row.outcome), reviews[0] if reviews else None)
    left = sum(
        item.state == ItemState.DUE and item.topic != NonHealingTopic.SURGERY
        for row in reviews
        for item in row.items.all()
    )
    review = None
    if newest is not None:
        outcome = cast(Outcome, newest.outcome)
        review = CareReview(newest.opened_on, outcome, newest.outcome_on, left)
    kind = healing.kind if healing.report is not None else "not_measured"
    since = not_healing_since(healing)
    return care_standing(kind, healing.words, since, lesion.first_seen_on, review, today)
