"""When is something due, and when is it late? Sealed devices, red flags, referrals, attempts to reach.

Every moment is an argument and carries its time zone; nothing here reads a clock. A *day* belongs to the
site's own zone: a device to be opened by the 12th is late from midnight at the end of the 12th there,
whatever the server's zone.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta, tzinfo
from typing import Literal

from clinic.guidelines.due import sealed_past
from clinic.guidelines.errors import GuidelineError

__all__ = [
    "LONGEST_SEALED_DAYS",
    "Attempt",
    "Clock",
    "Hours",
    "Level",
    "SealRule",
    "attempts_clock",
    "clock_words",
    "day_at",
    "due_at",
    "is_open",
    "is_working_day",
    "latest_opening",
    "next_opening",
    "one_working_day_after",
    "openings",
    "referral_clock",
    "flag_clock",
    "seal_clock",
]

Level = Literal["stop", "ask", "note", ""]
#: Reviews are one to two weeks apart: Fernando ME et al., J Foot Ankle Res 2022;15:31, table 5.
LONGEST_SEALED_DAYS = 14
#: First review within one week: the same table.
LONGEST_FIRST_DAYS = 7
#: No site is closed for longer than this at a stretch; a calendar that says so is refused.
_SEARCH_DAYS = 60


@dataclass(frozen=True)
class Hours:
    """When a site is open.

    Parameters
    ----------
    start, end : time
        Hours of a working day, local; `end` is the first minute no one answers.
    zone : tzinfo
        Time zone of the site.
    closed_weekdays : frozenset of int
        Weekdays without hours, Monday = 0.
    holidays : frozenset of date
        Single days off.

    Raises
    ------
    GuidelineError
        `end` not after `start`, or every weekday closed.
    """

    start: time
    end: time
    zone: tzinfo
    closed_weekdays: frozenset[int] = frozenset({5, 6})
    holidays: frozenset[date] = frozenset()

    def __post_init__(self) -> None:
        if self.end <= self.start:
            raise GuidelineError(f"hours: end {self.end:%H:%M} must lie after start {self.start:%H:%M}")
        if not self.closed_weekdays <= set(range(7)):
            raise GuidelineError(
                f"closed_weekdays: {sorted(self.closed_weekdays)} given, each must be 0 (Monday) to 6 "
                "(Sunday)"
            )
        if len(self.closed_weekdays) == 7:
            raise GuidelineError("closed_weekdays: all seven given, at most six are possible")


@dataclass(frozen=True)
class Clock:
    """What a clock says: how loud, until when, in words."""

    level: Level
    due: datetime | None
    words: str

    @property
    def late(self) -> bool:
        return self.level == "stop"


@dataclass(frozen=True)
class SealRule:
    """For how long a device may stay sealed [d]; `first_change_hours` where the site changes the first
    one early.
    """

    first_days: int = 7
    later_days: int = 7
    first_change_hours: int | None = None


@dataclass(frozen=True)
class Attempt:
    """One attempt to reach a person."""

    tried_at: datetime
    reached: bool


def _aware(at: datetime, name: str) -> datetime:
    if at.tzinfo is None or at.utcoffset() is None:
        raise GuidelineError(f"{name}: {at.isoformat()} has no time zone, one is needed")
    return at


def day_at(at: datetime, zone: tzinfo) -> date:
    """The calendar day of a moment at the site.

    Parameters
    ----------
    at : datetime
        With time zone.
    zone : tzinfo

    Returns
    -------
    date

    Raises
    ------
    GuidelineError
        `at` carries no time zone.
    """
    return _aware(at, "at").astimezone(zone).date()


def _local(day: date, clock: time, zone: tzinfo) -> datetime:
    """A wall-clock time of a day; a time the clocks skip becomes the moment it would have been."""
    return datetime.combine(day, clock, tzinfo=zone).astimezone(UTC).astimezone(zone)


def is_working_day(day: date, hours: Hours) -> bool:
    """Whether the site has hours on that day."""
    return day.weekday() not in hours.closed_weekdays and day not in hours.holidays


def is_open(at: datetime, hours: Hours) -> bool:
    """Whether somebody answers the site's own number at that moment."""
    local = _aware(at, "at").astimezone(hours.zone)
    return is_working_day(local.date(), hours) and hours.start <= local.time() < hours.end


def next_opening(at: datetime, hours: Hours) -> datetime:
    """The moment itself while the site is open, else when it opens next.

    Raises
    ------
    GuidelineError
        No working day within 60 days: the list of holidays is wrong.
    """
    if is_open(at, hours):
        return _aware(at, "at").astimezone(hours.zone)
    first = day_at(at, hours.zone)
    for ahead in range(_SEARCH_DAYS):
        day = first + timedelta(days=ahead)
        opening = _local(day, hours.start, hours.zone)
        if is_working_day(day, hours) and opening >= at:
            return opening
    raise GuidelineError(f"holidays: no working day within {_SEARCH_DAYS} days after {first.isoformat()}")


def _working_day_after(day: date, hours: Hours) -> date:
    for ahead in range(1, _SEARCH_DAYS + 1):
        later = day + timedelta(days=ahead)
        if is_working_day(later, hours):
            return later
    raise GuidelineError(f"holidays: no working day within {_SEARCH_DAYS} days after {day.isoformat()}")


def one_working_day_after(at: datetime, hours: Hours) -> datetime:
    """One working day's worth of the site's hours after a moment.

    Notes
    -----
    Inside the hours: the same clock time on the next working day. Outside them counting starts when the site
    opens, so the whole of that day is the limit: its end. Saturday 11:00 → Monday's end; Friday 16:00 →
    Monday 16:00.

    References
    ----------
    Refer within 1 working day: NICE NG19 (read in pages that quote it). How a working day is counted is a
    design choice.
    """
    if is_open(at, hours):
        local = at.astimezone(hours.zone)
        return _local(_working_day_after(local.date(), hours), local.time(), hours.zone)
    return _local(next_opening(at, hours).date(), hours.end, hours.zone)


def openings(at: datetime, hours: Hours, count: int) -> tuple[tuple[datetime, datetime], ...]:
    """The next stretches of opening hours, the running one included.

    Parameters
    ----------
    at : datetime
        With time zone.
    hours : Hours
    count : int
        How many.

    Returns
    -------
    tuple of (datetime, datetime)
        Start and end of each, local.
    """
    found: list[tuple[datetime, datetime]] = []
    day = next_opening(at, hours).date()
    while len(found) < count:
        found.append((_local(day, hours.start, hours.zone), _local(day, hours.end, hours.zone)))
        day = _working_day_after(day, hours)
    return tuple(found)


def due_at(at: datetime, urgency: str, hours: Hours, planned_days: int = 7) -> datetime:
    """By when something of an urgency has to be done.

    Parameters
    ----------
    at : datetime
        When it arose, with time zone.
    urgency : {"immediate", "same_day", "one_working_day", "planned"}
        `same_day`: the end of the site's hours of that day, of the day itself where no hours are left
        (common practice, no source).
    hours : Hours
    planned_days : int
        For `planned`: the end of this many calendar days later, or of the working day after (a house rule).
        [d]

    Raises
    ------
    GuidelineError
        An urgency that is none of the four.
    """
    _aware(at, "at")
    if urgency == "immediate":
        return at.astimezone(hours.zone)
    if urgency == "same_day":
        return _end_of_day(at, hours)
    if urgency == "one_working_day":
        return one_working_day_after(at, hours)
    if urgency == "planned":
        day = day_at(at, hours.zone) + timedelta(days=planned_days)
        if not is_working_day(day, hours):
            day = _working_day_after(day, hours)
        return _local(day, hours.end, hours.zone)
    raise GuidelineError(
        f"urgency: {urgency!r} given, must be immediate, same_day, one_working_day or planned"
    )


def _end_of_day(at: datetime, hours: Hours) -> datetime:
    day = day_at(at, hours.zone)
    closing = _local(day, hours.end, hours.zone)
    if is_working_day(day, hours) and at < closing:
        return closing
    return _local(day, time(23, 59), hours.zone)


def clock_words(due: datetime, now: datetime, zone: tzinfo) -> str:
    """A limit as a clock time: "by 16:00 today", "by 16:00 tomorrow", "by 16:00 on Mon 30 Nov 2026"."""
    local = _aware(due, "due").astimezone(zone)
    today = day_at(now, zone)
    days = (local.date() - today).days
    when = {0: "today", 1: "tomorrow", -1: "yesterday"}.get(
        days
    ) or f"on {local:%a} {local.day} {local:%b %Y}"
    return f"by {local:%H:%M} {when}"


def flag_clock(raised_at: datetime, urgency: str, hours: Hours, now: datetime) -> Clock:
    """How an unanswered red flag stands: it is a stop from the first minute, whatever its limit.

    References
    ----------
    Limits: NICE NG19 (read in pages that quote it): immediate, or one working day.
    """
    due = due_at(raised_at, urgency, hours)
    if urgency == "immediate":
        return Clock("stop", due, f"now; raised {clock_words(due, now, hours.zone).removeprefix('by ')}")
    late = "" if now <= due else ", now past"
    return Clock("stop", due, f"{clock_words(due, now, hours.zone)}{late}")


def referral_clock(
    made_at: datetime,
    urgency: str,
    hours: Hours,
    now: datetime,
    *,
    reached: bool,
    planned_days: int = 7,
) -> Clock:
    """How far behind a referral is that has to reach the other team.

    Notes
    -----
    Immediate and not reached is a stop at once; the others from their limit on. Before the limit: nothing to
    say.
    """
    if reached:
        return Clock("", None, "")
    due = due_at(made_at, urgency, hours, planned_days)
    words = clock_words(due, now, hours.zone)
    if urgency == "immediate":
        return Clock("stop", due, f"at once; made {words.removeprefix('by ')}")
    return Clock("stop" if now > due else "", due, words)


def latest_opening(sealed_on: date, rule: SealRule, *, first: bool) -> date:
    """The last day on which a device sealed on a day may be opened.

    Parameters
    ----------
    sealed_on : date
    rule : SealRule
    first : bool
        Whether the device was never opened and sealed again before.

    Notes
    -----
    Hours of an early first change are counted in whole days from the sealing, rounded down: 48 to 71 h are
    two days, 72 h three.

    References
    ----------
    First review within one week, then every one to two: Fernando ME et al., J Foot Ankle Res 2022;15:31,
    table 5. First change of a cast after 48 to 72 h: common practice, no source.
    """
    days = rule.first_days if first else rule.later_days
    if first and rule.first_change_hours is not None:
        days = min(days, rule.first_change_hours // 24)
    return sealed_on + timedelta(days=min(days, LONGEST_FIRST_DAYS if first else LONGEST_SEALED_DAYS))


def seal_clock(open_by: date, now: datetime, zone: tzinfo) -> Clock:
    """How a sealed device stands: nothing before its day, an ask on it, a stop from the midnight that
    ends it.
    """
    today = day_at(now, zone)
    due = _local(open_by + timedelta(days=1), time(0), zone)
    days = (today - open_by).days
    if sealed_past(open_by, today):
        return Clock("stop", due, f"{days} day{'' if days == 1 else 's'} past its day")
    if days == 0:
        return Clock("ask", due, "to be opened today")
    return Clock("", due, f"{-days} day{'' if days == -1 else 's'} left")


def attempts_clock(attempts: Iterable[Attempt], since: date | None, limit: int, zone: tzinfo) -> Clock:
    """Attempts to reach a person since a day: escalate after so many failed ones in a row.

    Parameters
    ----------
    attempts : iterable of Attempt
        In any order.
    since : date or None
        Day of the latest entry, at the site; earlier attempts belong to an earlier story.
    limit : int
        Failed attempts after which the site's protocol for people who cannot be reached applies.

    Notes
    -----
    Reaching the person ends the count. Two attempts are common practice, no source; a house rule.
    """
    if limit < 1:
        raise GuidelineError(f"limit: {limit} given, must be at least 1")
    failed = 0
    for one in sorted(attempts, key=lambda attempt: attempt.tried_at):
        if since is not None and day_at(one.tried_at, zone) < since:
            continue
        failed = 0 if one.reached else failed + 1
    if failed == 0:
        return Clock("", None, "")
    words = f"{failed} attempt{'' if failed == 1 else 's'} failed"
    return Clock("stop" if failed >= limit else "ask", None, words)
