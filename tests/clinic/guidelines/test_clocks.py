"""Every clock at its edges: midnight, hours, weekends, holidays, the days the clocks change, two time
zones.
"""

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from clinic.guidelines.clocks import (
    Attempt,
    Hours,
    SealRule,
    attempts_clock,
    clock_words,
    day_at,
    due_at,
    flag_clock,
    is_open,
    latest_opening,
    next_opening,
    one_working_day_after,
    referral_clock,
    seal_clock,
)
from clinic.guidelines.errors import GuidelineError

LONDON = ZoneInfo("Europe/London")
AUCKLAND = ZoneInfo("Pacific/Auckland")
HOURS = Hours(time(8, 30), time(17), LONDON, holidays=frozenset({date(2026, 12, 25), date(2026, 12, 28)}))
# 25 Nov 2026 is a Wednesday.


def at(text, zone=LONDON):
    return datetime.fromisoformat(text).replace(tzinfo=zone)


@pytest.mark.parametrize(
    ("moment", "open_then"),
    [
        ("2026-11-25T08:29:59", False),
        ("2026-11-25T08:30", True),
        ("2026-11-25T16:59:59", True),
        ("2026-11-25T17:00", False),
        ("2026-11-28T12:00", False),  # Saturday
        ("2026-12-25T12:00", False),  # a holiday on a Friday
    ],
)
def test_the_site_answers_within_its_hours_only(moment, open_then):
    assert is_open(at(moment), HOURS) is open_then


def test_the_same_moment_is_open_here_and_closed_there():
    moment = at("2026-11-25T09:00")
    there = Hours(time(8, 30), time(17), AUCKLAND)
    assert is_open(moment, HOURS)
    assert not is_open(moment, there)  # 22:00 in Auckland
    assert day_at(at("2026-11-25T13:00"), AUCKLAND) == date(2026, 11, 26)


@pytest.mark.parametrize(
    ("raised", "limit"),
    [
        ("2026-11-25T10:15", "2026-11-26T10:15"),  # in hours: same clock time next working day
        ("2026-11-27T16:00", "2026-11-30T16:00"),  # Friday to Monday
        ("2026-11-27T17:00", "2026-11-30T17:00"),  # Friday at closing: all of Monday
        ("2026-11-28T11:00", "2026-11-30T17:00"),  # Saturday: all of Monday
        ("2026-11-29T23:59", "2026-11-30T17:00"),
        ("2026-11-30T00:00", "2026-11-30T17:00"),  # before opening: all of that day
        ("2026-12-24T15:00", "2026-12-29T15:00"),  # over a holiday, a weekend and a holiday
        ("2026-03-27T16:00", "2026-03-30T16:00"),  # over the night the clocks go forward
        ("2026-10-23T16:00", "2026-10-26T16:00"),  # and back
    ],
)
def test_one_working_day_is_the_sites_own(raised, limit):
    assert one_working_day_after(at(raised), HOURS) == at(limit)


def test_a_working_day_over_the_change_of_clocks_is_a_wall_clock_day():
    spring = one_working_day_after(at("2026-03-27T16:00"), HOURS)
    # 71 hours, not 72: the wall clock counts, not a number of seconds.
    assert spring.astimezone(UTC) - at("2026-03-27T16:00").astimezone(UTC) == timedelta(hours=71)


@given(
    st.datetimes(datetime(2026, 1, 1), datetime(2027, 12, 31), timezones=st.just(UTC)),
    st.sampled_from([LONDON, AUCKLAND, ZoneInfo("America/St_Johns"), UTC]),
)
def test_a_working_day_ends_later_within_hours_or_at_their_end_and_never_goes_back(moment, zone):
    hours = Hours(time(8, 30), time(17), zone, holidays=frozenset({date(2026, 12, 25)}))
    due = one_working_day_after(moment, hours)
    assert due > moment
    assert due.date().weekday() < 5
    assert due.date() != date(2026, 12, 25)
    assert time(8, 30) <= due.time() <= time(17)
    assert one_working_day_after(moment + timedelta(minutes=7), hours) >= due
    assert next_opening(moment, hours) >= moment


def test_a_due_time_by_urgency():
    made = at("2026-11-27T16:00")
    assert due_at(made, "immediate", HOURS) == made
    assert due_at(made, "one_working_day", HOURS) == at("2026-11-30T16:00")
    assert due_at(made, "planned", HOURS, 7) == at("2026-12-04T17:00")
    assert due_at(made, "planned", HOURS, 8) == at("2026-12-07T17:00")  # a Saturday moves on to Monday
    with pytest.raises(GuidelineError, match="urgency: 'soon' given"):
        due_at(made, "soon", HOURS)


@pytest.mark.parametrize(
    ("now", "level", "words"),
    [
        ("2026-11-24T23:59:59", "", "1 day left"),
        ("2026-11-25T00:00", "ask", "to be opened today"),
        ("2026-11-25T23:59:59", "ask", "to be opened today"),
        ("2026-11-26T00:00", "stop", "1 day past its day"),
        ("2026-11-28T00:00", "stop", "3 days past its day"),
    ],
)
def test_a_sealed_device_is_late_from_the_midnight_that_ends_its_day(now, level, words):
    clock = seal_clock(date(2026, 11, 25), at(now), LONDON)
    assert (clock.level, clock.words) == (level, words)
    assert clock.due == at("2026-11-26T00:00")


def test_a_sealed_device_is_late_by_the_sites_midnight_not_the_servers():
    half_past_eleven_in_london = at("2026-11-25T23:30")
    assert seal_clock(date(2026, 11, 25), half_past_eleven_in_london, LONDON).level == "ask"
    assert seal_clock(date(2026, 11, 25), half_past_eleven_in_london, AUCKLAND).level == "stop"
    # In summer UTC midnight is one in the morning in London.
    assert seal_clock(date(2026, 7, 1), datetime(2026, 7, 1, 23, 30, tzinfo=UTC), LONDON).level == "stop"


@pytest.mark.parametrize("day", [date(2026, 3, 29), date(2026, 10, 25)])
def test_a_device_due_on_the_day_the_clocks_change_has_the_whole_of_it(day):
    last = datetime.combine(day, time(23, 59), tzinfo=LONDON)
    assert seal_clock(day, last, LONDON).level == "ask"
    assert seal_clock(day, last + timedelta(minutes=1), LONDON).level == "stop"


@pytest.mark.parametrize(
    ("rule", "first", "days"),
    [
        (SealRule(), True, 7),
        (SealRule(), False, 7),
        (SealRule(first_days=5, later_days=14), True, 5),
        (SealRule(first_days=5, later_days=14), False, 14),
        (SealRule(later_days=21), False, 14),
        (SealRule(first_days=14), True, 7),
        (SealRule(first_change_hours=48), True, 2),
        (SealRule(first_change_hours=71), True, 2),
        (SealRule(first_change_hours=72), True, 3),
        (SealRule(first_change_hours=72), False, 7),
    ],
)
def test_a_device_stays_sealed_no_longer_than_the_rule(rule, first, days):
    assert latest_opening(date(2026, 11, 25), rule, first=first) == date(2026, 11, 25) + timedelta(days=days)


def test_a_red_flag_is_a_stop_from_its_first_minute():
    now = at("2026-11-25T14:05")
    clock = flag_clock(now, "immediate", HOURS, now)
    assert (clock.level, clock.words) == ("stop", "now; raised 14:05 today")
    slower = flag_clock(now, "one_working_day", HOURS, now)
    assert (slower.level, slower.words) == ("stop", "by 14:05 tomorrow")
    assert flag_clock(now, "one_working_day", HOURS, at("2026-11-26T14:06")).words.endswith("now past")


def test_a_flag_raised_just_before_midnight_was_raised_yesterday_just_after():
    raised = at("2026-11-25T23:59")
    assert (
        flag_clock(raised, "immediate", HOURS, at("2026-11-26T00:01")).words == "now; raised 23:59 yesterday"
    )


@pytest.mark.parametrize(
    ("urgency", "now", "level"),
    [
        ("immediate", "2026-11-25T10:00", "stop"),
        ("one_working_day", "2026-11-26T10:00", ""),
        ("one_working_day", "2026-11-26T10:00:01", "stop"),
        ("planned", "2026-12-02T17:00", ""),
        ("planned", "2026-12-02T17:00:01", "stop"),
    ],
)
def test_a_referral_nobody_reached_stops_at_its_limit(urgency, now, level):
    made = at("2026-11-25T10:00")
    assert referral_clock(made, urgency, HOURS, at(now), reached=False).level == level
    assert referral_clock(made, urgency, HOURS, at(now), reached=True).level == ""


def test_two_failed_attempts_escalate_and_reaching_the_person_ends_the_count():
    def attempts(*tries):
        return [Attempt(at(f"2026-11-25T{hour}:00"), reached) for hour, reached in tries]

    since = date(2026, 11, 25)
    assert attempts_clock([], since, 2, LONDON).level == ""
    assert attempts_clock(attempts(("09", False)), since, 2, LONDON).level == "ask"
    twice = attempts_clock(attempts(("11", False), ("09", False)), since, 2, LONDON)
    assert (twice.level, twice.words) == ("stop", "2 attempts failed")
    assert attempts_clock(attempts(("09", False), ("10", False), ("11", True)), since, 2, LONDON).level == ""
    assert attempts_clock(attempts(("09", True), ("10", False)), since, 2, LONDON).level == "ask"


def test_an_attempt_before_the_days_midnight_belongs_to_the_story_before():
    late_before = Attempt(at("2026-11-24T23:59:59"), False)
    early = Attempt(at("2026-11-25T00:00"), False)
    assert attempts_clock([late_before, early], date(2026, 11, 25), 2, LONDON).words == "1 attempt failed"
    assert attempts_clock([late_before, early], date(2026, 11, 24), 2, LONDON).level == "stop"
    # Half past midnight in summer London is still the day before in UTC; the site's day counts.
    summer = Attempt(datetime(2026, 7, 1, 23, 30, tzinfo=UTC), False)
    assert attempts_clock([summer], date(2026, 7, 2), 2, LONDON).level == "ask"


def test_a_limit_is_a_clock_time_with_its_day():
    now = at("2026-11-25T09:00")
    assert clock_words(at("2026-11-25T16:00"), now, LONDON) == "by 16:00 today"
    assert clock_words(at("2026-11-26T00:00"), now, LONDON) == "by 00:00 tomorrow"
    assert clock_words(at("2026-11-30T16:00"), now, LONDON) == "by 16:00 on Mon 30 Nov 2026"


def test_what_cannot_be_a_clock_is_refused_in_words():
    with pytest.raises(GuidelineError, match="has no time zone"):
        is_open(datetime(2026, 11, 25), HOURS)
    with pytest.raises(GuidelineError, match="end 08:30 must lie after start 17:00"):
        Hours(time(17), time(8, 30), LONDON)
    with pytest.raises(GuidelineError, match="all seven"):
        Hours(time(8), time(17), LONDON, frozenset(range(7)))
    with pytest.raises(GuidelineError, match=r"\[9\] given"):
        Hours(time(8), time(17), LONDON, frozenset({9}))
    shut = frozenset(date(2026, 11, 25) + timedelta(days=n) for n in range(90))
    with pytest.raises(GuidelineError, match="no working day within 60 days"):
        next_opening(at("2026-11-25T10:00"), Hours(time(8), time(17), LONDON, holidays=shut))
    with pytest.raises(GuidelineError, match="limit: 0 given"):
        attempts_clock([], None, 0, LONDON)
