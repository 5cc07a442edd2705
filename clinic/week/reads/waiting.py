"""What waits for somebody with a day: results, antibiotics, non-healing reviews and their items."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date

from clinic.alerts.reads.antibiotics import CourseRow, courses_ending
from clinic.alerts.reads.results import ResultRow, results_open
from clinic.curves.reads.healing import healings_of
from clinic.guidelines.due import non_healing_late
from clinic.lesions.reads.non_healing import ItemRow, items_due, last_reviews, review_due_words
from clinic.models import Lesion, LesionState
from clinic.record.dates import day_words

__all__ = ["ReviewDue", "Waiting", "due_words", "waiting_of"]


@dataclass(frozen=True)
class ReviewDue:
    """An ulcer whose verdict asks for a non-healing review."""

    lesion: Lesion
    words: str


@dataclass
class Waiting:
    """What of one person waits today."""

    results: list[ResultRow] = field(default_factory=list)
    courses: list[CourseRow] = field(default_factory=list)
    reviews: list[ReviewDue] = field(default_factory=list)
    items: list[ItemRow] = field(default_factory=list)


def waiting_of(lesions: Mapping[int, list[Lesion]], day: date) -> dict[int, Waiting]:
    """By person, what waits on a day; `lesions` are the open ones of each (a fixed number of queries).

    A course is judged only where a review would be due if it were bad.
    """
    found = {person: Waiting() for person in lesions}
    for person, results in results_open(found, day).items():
        found[person].results = results
    for person, courses in courses_ending(found, day).items():
        found[person].courses = courses
    for row in items_due(day, review__lesion__limb__person__in=found):
        if row.asks:
            found[row.item.review.lesion.limb.person_id].items.append(row)
    open_now = [one for own in lesions.values() for one in own if one.state == LesionState.OPEN]
    last = last_reviews(open_now)
    wanted = [one for one in open_now if non_healing_late(last.get(one.pk), day)]
    for healing in healings_of(wanted).values():
        if words := review_due_words(healing.kind, last.get(healing.lesion.pk), day):
            reads = f"{healing.lesion}: {healing.words}. {words}"
            found[healing.lesion.limb.person_id].reviews.append(ReviewDue(healing.lesion, reads))
    return found


def due_words(waiting: Waiting) -> Iterator[str]:
    """The same in a few words each, for the preparation sheet."""
    for row in waiting.results:
        when = f"due {day_words(row.result.due_on)}" if row.standing != "arrived" else row.words.lower()
        yield f"{row.result.label} ({when}, owner {row.result.owner})"
    for course in waiting.courses:
        yield f"{course.course.drug}: planned end {day_words(course.course.planned_end_on)}"
    for review in waiting.reviews:
        yield f"non-healing review, ulcer {review.lesion.label}"
    for item in waiting.items:
        yield item.sentence
