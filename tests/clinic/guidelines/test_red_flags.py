"""The one list of red-flag questions, and how soon each is looked at."""

from datetime import datetime
from zoneinfo import ZoneInfo

from clinic.guidelines.clocks import Hours, due_at
from clinic.guidelines.red_flags import RED_FLAGS

LONDON = ZoneInfo("Europe/London")


def test_no_key_stands_twice_and_every_flag_names_its_source():
    keys = [flag.id for flag in RED_FLAGS]
    assert len(keys) == len(set(keys))
    assert all(flag.source for flag in RED_FLAGS)


def test_a_podiatrist_looks_by_the_end_of_that_day():
    hours = Hours(datetime(2026, 1, 1, 9).time(), datetime(2026, 1, 1, 17).time(), LONDON)
    morning = datetime(2026, 11, 25, 10, 0, tzinfo=LONDON)
    assert due_at(morning, "same_day", hours) == datetime(2026, 11, 25, 17, 0, tzinfo=LONDON)
    evening = datetime(2026, 11, 25, 19, 0, tzinfo=LONDON)
    assert due_at(evening, "same_day", hours) == datetime(2026, 11, 25, 23, 59, tzinfo=LONDON)
    assert due_at(morning, "same_day", hours) < due_at(morning, "one_working_day", hours)
