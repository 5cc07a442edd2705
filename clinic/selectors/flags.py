"""Reading red flags: the questions of the list, and which answers are still owed."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db.models import QuerySet
from django.utils import timezone

from clinic.guidelines.cautions import RED_FLAGS
from clinic.models import NON_REMOVABLE, Person, Prescription, RedFlag

__all__ = ["QUESTIONS", "FlagSheet", "flag_sheet", "flag_urgency", "flag_words", "flags_open"]

#: Key -> question of the one list, in the order it is asked.
QUESTIONS: dict[str, str] = {flag.id: flag.question for flag in RED_FLAGS}
_URGENCY = {flag.id: flag.urgency for flag in RED_FLAGS}


@dataclass(frozen=True)
class FlagSheet:
    """The four steps of a red flag, in their order: open the device, whom to call, by when, what was done."""

    flag: RedFlag
    words: list[str]
    sealed: tuple[Prescription, ...]
    offload_today: bool
    telephone: str
    in_hours: bool
    urgency: str
    by: datetime


def flag_sheet(flag: RedFlag, now: datetime) -> FlagSheet:
    """What to do about a flag at this hour (one query)."""
    site = flag.person.site
    sealed = Prescription.objects.filter(
        limb__person=flag.person_id,
        device_class__in=NON_REMOVABLE,
        stopped_on=None,
        opened_on=None,
        sealed_on__isnull=False,
    ).select_related("limb")
    in_hours = site.hours_start <= timezone.localtime(now).time() < site.hours_end
    urgency = flag_urgency(flag.flags)
    return FlagSheet(
        flag=flag,
        words=flag_words(flag.flags),
        sealed=tuple(sealed),
        offload_today=any(one.offload_today for one in RED_FLAGS if one.id in flag.flags),
        telephone=site.telephone_in_hours if in_hours else site.telephone_out_of_hours,
        in_hours=in_hours,
        urgency=urgency,
        by=flag.raised_at if urgency == "immediate" else _next_working_day(flag.raised_at),
    )


def _next_working_day(moment: datetime) -> datetime:
    """The same clock time on the next weekday; public holidays are not known here."""
    later = timezone.localtime(moment) + timedelta(days=1)
    while later.weekday() > 4:
        later += timedelta(days=1)
    return later


def flags_open(person: Person) -> QuerySet[RedFlag]:
    """Red flags of a person that nobody has answered yet, oldest first."""
    return person.red_flags.filter(answer="").order_by("raised_at", "pk")


def flag_words(flags: Iterable[str]) -> list[str]:
    """What was ticked, in the words and the order of the list; an old key stays readable as it is."""
    ticked = list(flags)
    known = [QUESTIONS[key] for key in QUESTIONS if key in ticked]
    return known + [key.replace("_", " ") for key in ticked if key not in QUESTIONS]


def flag_urgency(flags: Iterable[str]) -> str:
    """The most pressing urgency among the flags; an unknown key counts as immediate."""
    urgencies = {_URGENCY.get(key, "immediate") for key in flags}
    return "immediate" if "immediate" in urgencies else "one_working_day"
