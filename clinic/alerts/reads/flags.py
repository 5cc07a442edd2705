"""Red flags: the questions of the list, the sheet of one flag, and what travels with the visit page."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from django.db.models import QuerySet

from clinic.guidelines.clocks import clock_words, due_at, flag_clock, openings
from clinic.guidelines.red_flags import RED_FLAGS
from clinic.guidelines.red_flags import RedFlag as Question
from clinic.models import SEALED, Person, Prescription, RedFlag, Site, Urgency
from clinic.rules.reads.clocks import hours_of, telephone_now

__all__ = [
    "QUESTIONS",
    "FlagSheet",
    "TravellingSheet",
    "flag_sheet",
    "flag_urgency",
    "flag_words",
    "flags_open",
    "travelling_sheet",
]

#: Key -> question of the one list, in the order it is asked.
QUESTIONS: dict[str, str] = {flag.id: flag.question for flag in RED_FLAGS}
_BY_ID = {flag.id: flag for flag in RED_FLAGS}
#: Most pressing first; what a podiatrist looks at the same day is called in on the number of one working day.
_ORDER = ("immediate", "same_day", "one_working_day")
SAME_DAY_WORDS = "A podiatrist the same day"
_URGENCIES = {flag.urgency for flag in RED_FLAGS}
#: Stretches of opening hours that travel with the visit page: more than any idle page lives.
OPENINGS_SENT = 4


@dataclass(frozen=True)
class FlagSheet:
    """The four steps of a red flag, in their order: open the device, whom to call, by when, what was done."""

    flag: RedFlag
    questions: tuple[tuple[str, str], ...]
    sealed: tuple[Prescription, ...]
    offload_today: bool
    telephone: str
    in_hours: bool
    urgency: str
    by: datetime
    by_words: str

    @property
    def urgency_words(self) -> str:
        return SAME_DAY_WORDS if self.urgency == "same_day" else str(Urgency(self.urgency).label)

    @property
    def words(self) -> list[str]:
        return [words for words, _ in self.questions]


@dataclass(frozen=True)
class TravellingSheet:
    """The same four steps before anything is ticked: rule, words and numbers, for a page without network."""

    site: Site
    questions: tuple[Question, ...]
    sealed: tuple[Prescription, ...]
    openings: tuple[tuple[datetime, datetime], ...]
    zone: str
    day_words: str
    same_day_by: datetime

    @property
    def same_day_text(self) -> str:
        """The end of today for a podiatrist's look, in seconds since 1970, for the page's script."""
        return f"{self.same_day_by.timestamp():.0f}"

    @property
    def telephones(self) -> tuple[dict[str, str], ...]:
        """Numbers of the urgencies a red flag can have."""
        return tuple(row for row in self.site.telephones if row["urgency"] in _URGENCIES)

    @property
    def openings_text(self) -> str:
        """Start and end in seconds since 1970, for the page's script."""
        return ";".join(f"{start.timestamp():.0f},{end.timestamp():.0f}" for start, end in self.openings)


def _sealed(person_id: int) -> tuple[Prescription, ...]:
    return tuple(Prescription.objects.filter(SEALED, limb__person=person_id).select_related("limb"))


def flag_sheet(flag: RedFlag, now: datetime) -> FlagSheet:
    """What to do about a flag at this hour (one query)."""
    site = flag.person.site
    hours = hours_of(site)
    urgency = flag_urgency(flag.flags)
    number_of = "one_working_day" if urgency == "same_day" else urgency
    telephone, in_hours = telephone_now(site, now, number_of)
    return FlagSheet(
        flag=flag,
        questions=tuple(
            (words, _BY_ID[key].source if key in _BY_ID else "")
            for key, words in zip(_ordered(flag.flags), flag_words(flag.flags), strict=True)
        ),
        sealed=_sealed(flag.person_id),
        offload_today=any(one.offload_today for one in RED_FLAGS if one.id in flag.flags),
        telephone=telephone,
        in_hours=in_hours,
        urgency=urgency,
        by=due_at(flag.raised_at, urgency, hours),
        by_words=flag_clock(flag.raised_at, urgency, hours, now).words,
    )


def travelling_sheet(person: Person, sealed: tuple[Prescription, ...], now: datetime) -> TravellingSheet:
    """The sheet as it travels with a page that asks the questions (no query: the page has the devices)."""
    site = person.site
    hours = hours_of(site)
    return TravellingSheet(
        site=site,
        questions=RED_FLAGS,
        sealed=sealed,
        openings=openings(now, hours, OPENINGS_SENT),
        zone=str(hours.zone),
        day_words=clock_words(due_at(now, "one_working_day", hours), now, hours.zone),
        same_day_by=due_at(now, "same_day", hours),
    )


def flags_open(person: Person) -> QuerySet[RedFlag]:
    """Red flags of a person that nobody has answered yet, oldest first."""
    return person.red_flags.standing().filter(answer="").order_by("raised_at", "pk")


def _ordered(flags: Iterable[str]) -> list[str]:
    ticked = list(flags)
    return [key for key in QUESTIONS if key in ticked] + [key for key in ticked if key not in QUESTIONS]


def flag_words(flags: Iterable[str]) -> list[str]:
    """What was ticked, in the words and the order of the list; an old key stays readable as it is."""
    return [QUESTIONS.get(key, key.replace("_", " ")) for key in _ordered(flags)]


def flag_urgency(flags: Iterable[str]) -> str:
    """The most pressing urgency among the flags; an unknown key counts as immediate."""
    urgencies = {_urgency(_BY_ID[key]) if key in _BY_ID else "immediate" for key in flags}
    return next((one for one in _ORDER if one in urgencies), "one_working_day")


def _urgency(question: Question) -> str:
    return "same_day" if question.same_day else question.urgency
