"""Each question asks what is new; a standing danger belongs to its question and raises it from a level on."""

from datetime import datetime
from zoneinfo import ZoneInfo

from hypothesis import given

from clinic.guidelines.clocks import Hours, due_at
from clinic.guidelines.known_dangers import dangers, to_raise
from clinic.guidelines.red_flags import RED_FLAGS, dangers_of, flags_of
from clinic.guidelines.standing import standing
from tests.clinic.guidelines.standing_strategies import TODAY, any_findings

LONDON = ZoneInfo("Europe/London")


def test_no_key_stands_twice_and_every_flag_names_its_source():
    keys = [flag.id for flag in RED_FLAGS]
    assert len(keys) == len(set(keys))
    assert all(flag.source for flag in RED_FLAGS)


@given(findings=any_findings)
def test_severe_ischaemia_deep_infection_and_gangrene_raise_themselves(findings):
    state = standing(findings, TODAY)
    raised = flags_of(to_raise(dangers(state), (), TODAY))
    by_id = {danger.id: danger.level for danger in dangers(state)}
    assert ("severe_ischaemia" in raised) == (by_id.get("ischaemia", 0) >= 3)
    assert ("gangrene" in raised) == ("gangrene" in by_id)
    if by_id.get("infection", 0) >= 3:
        assert "infection_3_4_or_bone" in raised
    assert all(set(dangers_of(flag)) & set(by_id) for flag in raised)


def test_a_moderate_danger_raises_nothing_by_itself():
    assert flags_of(()) == ()
    assert dangers_of("no question of the list") == ()


def test_a_podiatrist_looks_by_the_end_of_that_day():
    hours = Hours(datetime(2026, 1, 1, 9).time(), datetime(2026, 1, 1, 17).time(), LONDON)
    morning = datetime(2026, 11, 25, 10, 0, tzinfo=LONDON)
    assert due_at(morning, "same_day", hours) == datetime(2026, 11, 25, 17, 0, tzinfo=LONDON)
    evening = datetime(2026, 11, 25, 19, 0, tzinfo=LONDON)
    assert due_at(evening, "same_day", hours) == datetime(2026, 11, 25, 23, 59, tzinfo=LONDON)
    assert due_at(morning, "same_day", hours) < due_at(morning, "one_working_day", hours)
