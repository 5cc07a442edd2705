"""What is late stays late until it is done, begins on one day, and is asked in one module."""

from datetime import UTC, date, datetime, time, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from clinic.guidelines import due
from clinic.guidelines.clocks import seal_clock
from offload.core.plan.checks import weight_check
from offload.core.plan.policy import Policy

#: Every question of the module as "is it late", of a day, a limit of the house and today.
LATE = {
    "days_overdue": lambda day, limit, today: due.days_overdue(day, today) > 0,
    "visit_standing": lambda day, limit, today: (
        due.visit_standing(day, today, in_care=True, open_lesions=False) == "overdue"
    ),
    "remission_due_on": lambda day, limit, today: today >= due.remission_due_on(day, limit),
    "sealed_past": lambda day, limit, today: due.sealed_past(day, today),
    "oldest_fresh": lambda day, limit, today: day < due.oldest_fresh(limit, today),
    "too_old": due.too_old,
    "fact_age": lambda day, limit, today: due.fact_age(day, limit, today) == "old",
    "area_too_old": lambda day, limit, today: due.area_too_old(day, today),
    "back_on_review": lambda day, limit, today: today >= due.back_on_review(day),
    "non_healing_late": lambda day, limit, today: due.non_healing_late(day, today),
    "due_standing": lambda day, limit, today: due.due_standing(day, today) == "late",
    "result_standing": lambda day, limit, today: due.result_standing(day, None, None, today) == "late",
    "course_standing": lambda day, limit, today: due.course_standing(day, None, today) == "past_end",
    "plan_look_due": lambda day, limit, today: due.plan_look_due(day, today),
    "foam_due": lambda day, limit, today: due.foam_due([day], today) is not None,
    "confirmable_from": lambda day, limit, today: today >= due.confirmable_from(day, limit),
    "reopens_until": lambda day, limit, today: today > due.reopens_until(day, limit),
}
#: The first late day, counted from the day itself, by the house's limit.
FIRST = {
    "days_overdue": lambda limit: 1,
    "visit_standing": lambda limit: 1,
    "remission_due_on": lambda limit: limit,
    "sealed_past": lambda limit: 1,
    "oldest_fresh": lambda limit: limit + 1,
    "too_old": lambda limit: limit + 1,
    "fact_age": lambda limit: limit + 1,
    "area_too_old": lambda limit: 15,
    "back_on_review": lambda limit: 14,
    "non_healing_late": lambda limit: 15,
    "due_standing": lambda limit: 1,
    "result_standing": lambda limit: 1,
    "course_standing": lambda limit: 1,
    "plan_look_due": lambda limit: 28,
    "foam_due": lambda limit: 183,
    "confirmable_from": lambda limit: limit,
    "reopens_until": lambda limit: limit + 1,
}
every_rule = pytest.mark.parametrize("rule", LATE)
days = st.dates(date(2020, 1, 1), date(2032, 12, 31))
spans = st.integers(0, 500)
limits = st.integers(1, 365)


def test_every_question_of_the_module_is_held_to_these_laws():
    assert (
        set(LATE)
        == set(FIRST)
        == {name for name in due.__all__ if callable(getattr(due, name)) and name.islower()}
    )


@every_rule
@given(days, limits, spans, spans)
def test_what_is_late_today_is_late_tomorrow(rule, day, limit, ago, more):
    late, today = LATE[rule], day + timedelta(ago)
    assert not late(day, limit, today) or late(day, limit, today + timedelta(more))


@every_rule
@given(days, limits, spans, spans)
def test_what_stands_longer_is_never_less_late(rule, day, limit, ago, more):
    late, today = LATE[rule], day + timedelta(ago)
    assert not late(day, limit, today) or late(day - timedelta(more), limit, today)


@every_rule
@given(days, limits, st.integers(0, 100))
def test_what_was_done_today_is_not_late(rule, today, limit, ahead):
    assert not LATE[rule](today + timedelta(ahead), limit, today)


@every_rule
@given(days, limits)
def test_it_is_late_from_its_first_day_on_and_not_the_day_before(rule, day, limit):
    late, first = LATE[rule], day + timedelta(FIRST[rule](limit))
    assert late(day, limit, first)
    assert not late(day, limit, first - timedelta(days=1))


@given(days, limits, st.integers(-500, 500))
def test_the_cut_off_of_the_database_is_the_same_rule(today, limit, ago):
    found_on = today - timedelta(ago)
    assert due.too_old(found_on, limit, today) == (not found_on >= due.oldest_fresh(limit, today))


@given(days, limits, st.none() | st.integers(0, 500))
def test_the_check_of_a_relief_plan_flags_a_weight_that_the_clinic_calls_old_or_missing(today, limit, ago):
    weighed_on = None if ago is None else today - timedelta(ago)
    check = weight_check(None if ago is None else 80.0, ago, Policy(weight_age=limit))
    assert check.passed == (due.fact_age(weighed_on, limit, today) == "fresh")


@given(days, st.integers(-30, 30), st.times())
def test_the_clock_of_a_sealed_device_is_late_when_its_day_is_past(open_by, ago, at):
    now = datetime.combine(open_by + timedelta(ago), at, tzinfo=UTC)
    assert seal_clock(open_by, now, UTC).late == due.sealed_past(open_by, now.date())
    assert not due.sealed_past(None, now.date())


def test_a_sealed_device_is_late_from_midnight():
    day = date(2026, 11, 12)
    assert not seal_clock(day, datetime.combine(day, time(23, 59, 59), tzinfo=UTC), UTC).late
    assert seal_clock(day, datetime.combine(day + timedelta(days=1), time(0), tzinfo=UTC), UTC).late


@given(days, st.integers(-60, 60), st.booleans())
def test_a_visit_comes_nearer_day_by_day_and_is_then_late(next_on, ago, open_lesions):
    order = ["later", "coming", "due", "overdue"]
    today = next_on + timedelta(ago)
    now, then = (
        order.index(due.visit_standing(next_on, day, in_care=True, open_lesions=open_lesions))
        for day in (today, today + timedelta(days=1))
    )
    assert now <= then
    assert order[now] == ("overdue" if ago > 0 else "due" if ago == 0 else "coming" if ago >= -7 else "later")


@given(st.none() | days, days, st.booleans())
def test_nobody_awaits_a_person_who_left(next_on, today, open_lesions):
    assert due.visit_standing(next_on, today, in_care=False, open_lesions=open_lesions) == "not_awaited"


@given(days)
def test_no_date_is_a_fault_with_an_open_lesion_only(today):
    assert due.visit_standing(None, today, in_care=True, open_lesions=True) == "no_date"
    assert due.visit_standing(None, today, in_care=True, open_lesions=False) == "not_awaited"


@given(days, days)
def test_what_was_never_done_is_late_and_what_never_was_is_not(day, today):
    assert due.non_healing_late(None, today)
    assert due.fact_age(None, 30, today) == "missing"
    assert due.foam_due([], today) is None
    assert due.remission_due_on(day, 0) == day + timedelta(days=90)


@given(st.lists(days, min_size=1), days)
def test_the_newest_insole_counts(renewed, today):
    late = due.foam_due(renewed, today)
    assert late is None or late == max(renewed)
    assert (late is not None) == (today >= max(renewed) + timedelta(days=due.FOAM_DAYS))


@given(days, st.integers(-60, 60))
def test_a_requested_result_comes_nearer_is_due_and_is_then_late_until_it_arrives(due_on, ago):
    order = ["requested", "due", "late", "arrived", "seen"]
    today = due_on + timedelta(ago)
    assert due.result_standing(due_on, None, None, today) == order[0 if ago < 0 else 1 if ago == 0 else 2]
    # What has arrived waits for eyes on every later day, and what was seen waits for nothing.
    assert due.result_standing(due_on, today, None, today) == "arrived"
    assert due.result_standing(due_on, due_on, today, today) == "seen"


@given(days, st.integers(-60, 60), st.integers(1, 60))
def test_a_course_asks_from_its_planned_end_until_it_is_stopped_or_prolonged(end, ago, more):
    today = end + timedelta(ago)
    asks = due.course_standing(end, None, today) in ("ends", "past_end")
    assert asks == (today >= end)
    assert due.course_standing(end, today, today) == "stopped"
    assert due.course_standing(today + timedelta(more), None, today) == "running"
