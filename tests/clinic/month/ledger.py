"""What the lists should say, kept on a pad: plain dates and counts, none of the program's own clocks or
queries.

One working day is counted here the slow way, by walking open minutes; the program computes it from the
calendar.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

ZONE = ZoneInfo("Europe/London")
OPENS, CLOSES = time(8, 30), time(17)
FAILED_BEFORE_ESCALATION = 2
PLANNED_DAYS = 7
REMISSION_DAYS = 90
COMING_DAYS = 7


@dataclass
class Sent:
    """A referral on the pad."""

    made: datetime
    urgency: str
    reached: bool = False


@dataclass
class Card:
    """One person on the pad."""

    pk: int
    in_care: bool = True
    open_lesions: int = 0
    healed_on: date | None = None
    latest_on: date | None = None
    came: bool = True
    next_on: date | None = None
    sealed_until: date | None = None
    flags: int = 0
    referrals: list[Sent] = field(default_factory=list)
    tries: list[tuple[datetime, bool]] = field(default_factory=list)
    looks: int = 0
    answers: int = 0

    def entered(self, day: date, *, came: bool, next_on: date | None) -> None:
        """A visit made or missed: it carries the next date, and attempts before it are another story."""
        self.latest_on, self.came, self.next_on = day, came, next_on


def works(day: date, holidays: set[date]) -> bool:
    return day.isoweekday() < 6 and day not in holidays


def one_working_day(made: datetime, holidays: set[date]) -> datetime:
    """Walk minute by minute until a whole day's worth of open minutes has passed."""
    left = (CLOSES.hour * 60 + CLOSES.minute) - (OPENS.hour * 60 + OPENS.minute)
    moment = made
    while left:
        if works(moment.date(), holidays) and OPENS <= moment.time() < CLOSES:
            left -= 1
        moment += timedelta(minutes=1)
    return moment


def planned(made: datetime, holidays: set[date]) -> datetime:
    day = made.date() + timedelta(days=PLANNED_DAYS)
    while not works(day, holidays):
        day += timedelta(days=1)
    return datetime.combine(day, CLOSES, tzinfo=ZONE)


def expected(cards: list[Card], now: datetime, holidays: set[date]) -> Counter[tuple[str, int]]:
    """List and person -> how many rows, at one moment."""
    rows: Counter[tuple[str, int]] = Counter()
    for card in cards:
        if card.in_care:
            for name in _lists(card, now, holidays):
                rows[name, card.pk] += 1
    return rows


def _lists(card: Card, now: datetime, holidays: set[date]) -> list[str]:
    today = now.date()
    names = ["flag"] * card.flags
    if card.sealed_until is not None and today > card.sealed_until:
        names.append("sealed")
    for sent in card.referrals:
        if sent.reached:
            continue
        limit = {"immediate": None, "one_working_day": one_working_day, "planned": planned}[sent.urgency]
        if limit is None or now > limit(sent.made, holidays):
            names.append("referral")
    names += ["look"] * (card.looks + card.answers)
    undated = card.open_lesions > 0 and card.next_on is None
    if undated:
        names.append("no_date")
    elif contact(card):
        names.append(contact(card))
    if card.open_lesions:
        if not undated:
            names += _by_date(card, today)
    elif card.healed_on is not None:
        due = card.next_on or max(card.latest_on or card.healed_on, card.healed_on) + timedelta(
            REMISSION_DAYS
        )
        if due <= today:
            names.append("remission")
    elif card.next_on is not None:  # no lesion open and none healed: still awaited on the day agreed
        names += _by_date(card, today)
    return names


def contact(card: Card) -> str:
    """Nobody reached since the latest entry: tried too often, tried, or to be tried; or nothing."""
    since = [
        (at, reached)
        for at, reached in sorted(card.tries)
        if not card.latest_on or at.date() >= card.latest_on
    ]
    failed = 0
    for _, reached in since:
        failed = 0 if reached else failed + 1
    if failed >= FAILED_BEFORE_ESCALATION:
        return "escalate"
    if failed:
        return "try_again"
    return "" if card.came or any(reached for _, reached in since) else "try"


def _by_date(card: Card, today: date) -> list[str]:
    day = card.next_on
    assert day is not None
    if card.sealed_until is not None and today <= card.sealed_until:
        day = min(day, card.sealed_until)
    if day < today:
        return ["overdue"]
    if day == today:
        return ["due"]
    return ["coming"] if day <= today + timedelta(days=COMING_DAYS) else []
