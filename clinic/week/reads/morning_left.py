"""Rows of this morning for who left with something open, and for devices that run on without an ulcer."""

from __future__ import annotations

from datetime import date, datetime

from django.utils import timezone

from clinic.guidelines.clocks import seal_clock
from clinic.models import Prescription, Site
from clinic.people.reads.left_open import LeftPerson, devices_without_ulcer, left_people
from clinic.record.dates import day_words
from clinic.record.messages import message_of
from clinic.week.reads.rows import Ask, TodayRow

__all__ = ["left_rows"]


def left_rows(site: Site, now: datetime) -> tuple[TodayRow, ...]:
    """Until it is settled each stands here (at most five queries)."""
    devices = devices_without_ulcer(limb__person__site=site)
    return (
        *(_left(one, now) for one in left_people(site)),
        *(_device(device) for device in devices),
    )


def _left(one: LeftPerson, now: datetime) -> TodayRow:
    late = one.sealed_by is not None and _late(one.sealed_by, now)
    ask = Ask(message_of("settle_sealed_left" if late else "settle_left"), "settle", one.person.pk)
    sealed = (
        f"; sealed in a device that was to be opened by {day_words(one.sealed_by)}" if one.sealed_by else ""
    )
    since = f" {day_words(one.person.state_on)}" if one.person.state_on else ""
    words = f"{one.person.get_state_display()}{since}, still open: {one.words}{sealed}"
    return TodayRow(one.person, one.sealed_by or one.person.state_on, words, (), (ask,))


def _late(open_by: date, now: datetime) -> bool:
    return seal_clock(open_by, now, timezone.get_current_timezone()).late


def _device(device: Prescription) -> TodayRow:
    person = device.limb.person
    ask = Ask(message_of("settle_device"), "settle", person.pk)
    words = (
        f"{device.get_device_class_display()} on the {device.limb.side} foot runs on; no ulcer of it is open"
    )
    return TodayRow(person, device.fitted_on or device.prescribed_on, words, (), (ask,))
