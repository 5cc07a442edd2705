"""Rows of this morning for what waits with a day: results, antibiotics, bone felt, non-healing
reviews, their items."""

from __future__ import annotations

from collections.abc import Iterator

from clinic.record.dates import day_words
from clinic.record.messages import message_of
from clinic.week.reads.rows import Ask, TodayRow
from clinic.week.reads.today_cases import OpenCase

__all__ = ["antibiotic_rows", "bone_rows", "item_rows", "opened_rows", "result_rows", "review_rows"]


def opened_rows(case: OpenCase) -> Iterator[TodayRow]:
    """Devices that stay on and were opened: until one is sealed again or stopped nobody knows what is on."""
    for device in case.opened:
        if device.opened_on is None:
            continue
        ask = Ask(message_of("seal_again_or_stop"), "prescription", device.pk)
        words = (
            f"{device.get_device_class_display()} on the {device.limb.side} foot: opened on "
            f"{day_words(device.opened_on)}, neither sealed again nor stopped"
        )
        yield TodayRow(case.person, device.opened_on, words, case.lines, (ask,))


def result_rows(case: OpenCase) -> Iterator[TodayRow]:
    """Tests due, late, or arrived and not seen."""
    for row in case.waiting.results:
        result = row.result
        where = f", ulcer {result.lesion.label}" if result.lesion else ""
        words = f"{result.label}{where}. {row.sentence}"
        if row.standing == "arrived":
            ask = Ask(message_of("see_result"), "result", result.pk)
            yield TodayRow(case.person, result.result_on, words, (), (ask,))
        else:
            ask = Ask(message_of("chase_result"), "result", result.pk)
            yield TodayRow(case.person, result.due_on, words, (), (ask,))


def antibiotic_rows(case: OpenCase) -> Iterator[TodayRow]:
    """Courses on or past their planned end."""
    for row in case.waiting.courses:
        ask = Ask(message_of("end_antibiotic"), "antibiotic", row.course.pk)
        words = f"{row.course}, ulcer {row.course.lesion.label}: {row.sentence}"
        yield TodayRow(case.person, row.course.planned_end_on, words, (), (ask,))


def bone_rows(case: OpenCase) -> Iterator[TodayRow]:
    """Open ulcers at which bone was felt and that nobody has judged since."""
    for lesion, felt_on in case.bones_felt:
        ask = Ask(message_of("judge_bone"), "lesion", lesion.pk)
        words = f"{lesion}: bone felt with the probe on {day_words(felt_on)}, not judged since"
        yield TodayRow(case.person, felt_on, words, (), (ask,))


def review_rows(case: OpenCase) -> Iterator[TodayRow]:
    """Ulcers whose verdict asks for a non-healing review."""
    for due in case.waiting.reviews:
        ask = Ask(message_of("open_review"), "non_healing_new", due.lesion.pk)
        yield TodayRow(case.person, None, due.words, (), (ask,))


def item_rows(case: OpenCase) -> Iterator[TodayRow]:
    """Items that a review left to do, on and after their day."""
    for row in case.waiting.items:
        ask = Ask(message_of("do_item"), "non_healing_item", row.item.pk)
        words = f"Ulcer {row.item.review.lesion.label}. {row.sentence}"
        yield TodayRow(case.person, row.item.due_on, words, (), (ask,))
