"""The review list puts the worrying feet first and says why."""

from datetime import datetime, time, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone
from django.utils.formats import date_format

from clinic.guidelines.due import FOAM_DAYS, PLAN_DAYS, SEEN_DAYS
from clinic.models import LimbPlan, Look, ReviewNote
from clinic.week.reads.review import CONCERNS, ReviewFilter, review_list
from offload.models import ReliefPlan
from tests import factories

AGO = lambda days: timezone.localdate() - timedelta(days=days)  # noqa: E731
COURSES = {
    "worsening": [2.0, 2.2, 2.8, 3.5],
    "stalled": [3.0, 3.0, 2.9, 3.1, 3.0, 2.9],
    "slow": [3.0, 2.9, 2.7, 2.5, 2.4, 2.2, 2.1],
    "too_early": [1.2, 1.0],
    "on_course": [4.0, 3.4, 2.6, 2.0, 1.5, 1.1],
}


def lesion_with(site, areas, *, last=None, kg=80, **fields):
    """A lesion with weekly areas, a weight of today and a next visit that is not past: nothing is due but
    its course.
    """
    lesion = factories.lesion(on=factories.limb(of=factories.person(at=site)), **fields)
    visits = factories.series(lesion, areas, last=last)
    visits[-1].next_on = max(timezone.localdate(), visits[-1].visited_on + timedelta(days=1))
    visits[-1].save()
    if kg:
        factories.weight(of=lesion.limb.person, kg=kg)
    return lesion


def plan_for(lesion, *, signed=None, kg=80):
    at = timezone.make_aware(datetime.combine(signed, time(12))) if signed else None
    plan = ReliefPlan.objects.create(
        code=f"R{ReliefPlan.objects.count():05d}",
        side="left",
        spec={"body_weight_kg": kg},
        result={},
        sha256="0" * 64,
        core_version="test",
        created_at=at or timezone.now(),
        made_by="test",
        signed_at=at,
        signed_by="test" if at else "",
        state="signed" if at else "draft",
    )
    link = LimbPlan.objects.create(limb=lesion.limb, plan=plan, created_by=factories.author())
    link.lesions.set([lesion])
    return plan


def looked(lesion, concern, *, days_ago=0, note="Agreed to wait a week."):
    return ReviewNote.objects.create(
        lesion=lesion, seen_on=AGO(days_ago), concern=concern, note=note, created_by=factories.author()
    )


def dues(site):
    """What is due but the non-healing review, which has its own tests."""
    return [due.kind for due in only(site).due if due.kind != "non_healing"]


def where(site):
    """Lesion -> concern, in the order of the page."""
    return {
        row.lesion.pk: group.concern
        for group in review_list(site, timezone.localdate()).groups
        for row in group.rows
    }


def only(site):
    (group,) = review_list(site, timezone.localdate()).groups
    (row,) = group.rows
    return row


@pytest.mark.parametrize("concern", COURSES)
def test_a_lesion_stands_under_its_verdict(site, concern):
    lesion = lesion_with(site, COURSES[concern])
    assert where(site) == {lesion.pk: concern}
    assert only(site).reasons


def test_the_most_worrying_come_first(site):
    for concern in reversed(COURSES):
        lesion_with(site, COURSES[concern])
    lesion_with(site, COURSES["on_course"], last=AGO(15))
    lesion_with(site, COURSES["on_course"], kg=None)
    lesion_with(site, [1.0, 0.4], state="to_confirm", closed_on=AGO(3))
    flagged = lesion_with(site, COURSES["on_course"])
    factories.red_flag(of=flagged.limb.person)
    assert list(where(site).values()) == [concern for concern in CONCERNS if concern != "look"]


@pytest.mark.parametrize("concern", ["worsening", "stalled", "slow", "on_course"])
def test_a_ruler_for_once_leaves_the_lesion_where_it_stood(site, concern):
    lesion = lesion_with(site, COURSES[concern], last=AGO(7))
    now = factories.visit(of=lesion.limb.person, next_on=AGO(-7))
    factories.measurement(at=now, of=lesion, cm2=2.0, method="ellipse", length_mm=20, width_mm=12.7)
    assert where(site) == {lesion.pk: concern}


@pytest.mark.parametrize(("days", "concern"), [(14, "on_course"), (15, "unmeasured")])
def test_an_area_older_than_two_weeks_is_looked_at_again(site, days, concern):
    lesion = lesion_with(site, COURSES["on_course"], last=AGO(days))
    assert where(site)[lesion.pk] == concern


def test_an_old_area_does_not_hide_a_worse_verdict(site):
    lesion_with(site, COURSES["worsening"], last=AGO(20))
    row = only(site)
    assert row.concern == "worsening"
    assert row.reasons[0] == "Last area 20 days ago."


def test_a_lesion_never_measured_is_not_forgotten(site):
    factories.lesion(on=factories.limb(of=factories.person(at=site)), first_seen_on=AGO(20))
    row = only(site)
    assert [due.words for due in row.due] == ["No next visit is agreed.", "No weight recorded."]
    assert (row.concern, row.reasons) == (
        "unmeasured",
        ("No area yet, 20 days after the ulcer was first seen.",),
    )
    assert row.visit_words == "no visit yet"


@pytest.mark.parametrize(
    ("open_by", "opened", "stop"),
    [
        (AGO(1), None, True),
        (AGO(0), None, False),
        (AGO(1), AGO(1), False),
    ],
)
def test_a_sealed_device_past_its_day_is_a_stop(site, open_by, opened, stop):
    lesion = lesion_with(site, COURSES["on_course"])
    factories.prescription(
        of=lesion.limb,
        lesions=[lesion],
        device_class="total_contact_cast",
        prescribed_on=AGO(8),
        fitted_on=AGO(8),
        sealed_on=AGO(8),
        open_by=open_by,
        opened_on=opened,
    )
    assert (only(site).concern == "stop") is stop


def test_closed_lesions_wait_for_their_day(site):
    lesion_with(site, [1.0, 0.4], state="to_confirm", closed_on=AGO(14))
    assert only(site).reasons[0].endswith("confirmation is due.")


def test_under_ninety_percent_at_week_eight_is_a_reason(site):
    lesion_with(site, [4.0, 3.6, 3.2, 2.8, 2.4, 2.0, 1.6, 1.2, 0.9])
    row = only(site)
    assert row.concern == "on_course"
    assert any("under 90 % at week 8" in reason for reason in row.reasons)


def test_a_question_stands_after_what_is_urgent(site):
    asked, flagged = lesion_with(site, COURSES["on_course"]), lesion_with(site, COURSES["on_course"])
    for lesion in (asked, flagged):
        Look.objects.create(
            lesion=lesion, question="Which device?", asked_at=timezone.now(), created_by=factories.author()
        )
    factories.red_flag(of=flagged.limb.person)
    assert list(where(site).items()) == [(flagged.pk, "stop"), (asked.pk, "look")]


def test_only_open_lesions_of_people_in_care_at_this_site(site, other_site):
    lesion_with(other_site, COURSES["worsening"])
    lesion_with(
        site, COURSES["on_course"], state="healed", outcome="healed", closed_on=AGO(20), confirmed_on=AGO(2)
    )
    gone = lesion_with(site, COURSES["stalled"]).limb.person
    gone.state, gone.state_on = "moved", AGO(1)
    gone.save()
    assert where(site) == {}


def test_a_visit_entered_in_error_or_not_made_is_no_visit(site):
    lesion = lesion_with(site, COURSES["on_course"], last=AGO(9))
    factories.visit(of=lesion.limb.person, on=AGO(2), state="in_error", error_reason="wrong patient")
    factories.visit(of=lesion.limb.person, on=AGO(1), attendance="did_not_come")
    assert only(site).visit_words == "last visit 9 days ago"


def test_the_number_of_queries_does_not_grow_with_lesions(site):
    def queries():
        with CaptureQueriesContext(connection) as caught:
            found = review_list(site, timezone.localdate())
            for row in [*(row for group in found.groups for row in group.rows), *found.seen]:
                assert row.lesion.limb.person.full_name
                assert row.areas
                assert row.seen is None or str(row.seen.created_by)
        return len(caught)

    def more(n):
        for _ in range(n):
            lesion = lesion_with(site, COURSES["slow"])
            factories.prescription(of=lesion.limb, lesions=[lesion], fitted_on=AGO(3))
            plan_for(lesion, signed=AGO(40))
            factories.event(of=lesion, kind="insole_replaced", on=AGO(9))
            looked(lesion, "slow")

    more(3)
    few = queries()
    more(9)
    assert queries() == few <= 21


def test_a_lesion_on_course_with_something_due_stands_before_those_without(site):
    late, calm = lesion_with(site, COURSES["on_course"], kg=None), lesion_with(site, COURSES["on_course"])
    assert where(site) == {late.pk: "due", calm.pk: "on_course"}
    worse = lesion_with(site, COURSES["worsening"], kg=None)
    assert where(site)[worse.pk] == "worsening"


def test_inside_a_concern_the_least_likely_to_close_comes_first(site):
    slower = lesion_with(site, COURSES["slow"])
    slowest = lesion_with(site, [6.0, 5.9, 5.7, 5.5, 5.2, 4.8, 4.5])
    assert [pk for pk, concern in where(site).items() if concern == "slow"] == [slowest.pk, slower.pk]


def test_missed_and_overdue_visits_are_counted_since_the_last_one_made(site):
    lesion = lesion_with(site, COURSES["on_course"], last=AGO(13))
    person = lesion.limb.person
    factories.visit(of=person, on=AGO(9), attendance="did_not_come")
    factories.visit(of=person, on=AGO(6), attendance="did_not_come", next_on=AGO(2))
    row = only(site)
    assert [due.words for due in row.due] == [
        "Did not come 2 times since the last visit made.",
        f"Was expected on {date_format(AGO(2))}, 2 days ago.",
    ]
    made = factories.visit(of=person, on=AGO(1), next_on=AGO(-6))
    factories.measurement(at=made, of=lesion, cm2=1.0)
    assert dues(site) == []


def test_no_next_visit_is_something_due(site):
    lesion = lesion_with(site, COURSES["on_course"])
    lesion.limb.person.visits.update(next_on=None)
    assert [due.words for due in only(site).due] == ["No next visit is agreed."]


@pytest.mark.parametrize(("days", "due"), [(30, []), (31, ["weight"])])
def test_a_weight_is_out_of_date_by_the_sites_own_limit(site, days, due):
    lesion = lesion_with(site, COURSES["on_course"], kg=None)
    factories.weight(of=lesion.limb.person, on=AGO(days))
    assert dues(site) == due


def test_weight_is_not_asked_where_no_foam_carries_it(site):
    lesion_with(site, COURSES["on_course"], kg=None, place="dorsal_toe_1")
    assert dues(site) == []


def test_a_plan_left_unsigned_is_due(site):
    lesion = lesion_with(site, COURSES["on_course"])
    plan_for(lesion)
    assert dues(site) == ["plan"]
    assert "is not signed" in only(site).due[0].words


@pytest.mark.parametrize(("days", "due"), [(PLAN_DAYS - 1, []), (PLAN_DAYS, ["plan"])])
def test_a_plan_has_four_weeks_to_work(site, days, due):
    lesion = lesion_with(site, COURSES["stalled"])
    plan_for(lesion, signed=AGO(days))
    assert dues(site) == due


@pytest.mark.parametrize(("then", "now", "due"), [(80, 89, []), (80, 90, ["plan"]), (95, 80, ["plan"])])
def test_a_plan_made_on_the_other_side_of_the_weight_limit_is_due(site, then, now, due):
    lesion = lesion_with(site, COURSES["on_course"], kg=now)
    plan_for(lesion, signed=AGO(3), kg=then)
    assert dues(site) == due


@pytest.mark.parametrize(("days", "due"), [(FOAM_DAYS - 1, []), (FOAM_DAYS, ["foam"])])
def test_an_insole_is_past_its_renewal_after_six_months_unless_replaced(site, days, due):
    lesion = lesion_with(site, COURSES["on_course"], first_seen_on=AGO(200))
    plan_for(lesion, signed=AGO(days))
    assert dues(site) == due
    factories.event(of=lesion, kind="insole_replaced", on=AGO(5))
    assert dues(site) == []


def test_a_seen_lesion_stands_at_the_end_and_says_when_it_comes_back(site):
    lesion = lesion_with(site, COURSES["slow"])
    note = looked(lesion, "slow")
    found = review_list(site, timezone.localdate())
    assert found.groups == ()
    assert [row.seen for row in found.seen] == [note]
    assert found.seen[0].back_on == AGO(-SEEN_DAYS)
    assert found.total == 1


def test_it_comes_back_after_a_fortnight_when_its_concern_changes_and_at_the_next_visit(site):
    old, changed, visited = (lesion_with(site, COURSES["slow"]) for _ in range(3))
    looked(old, "slow", days_ago=SEEN_DAYS)
    looked(changed, "on_course")
    looked(visited, "slow")
    made = factories.visit(of=visited.limb.person, attendance="came", on=AGO(-1), next_on=AGO(-8))
    factories.measurement(at=made, of=visited, cm2=2.0)
    assert set(where(site)) == {old.pk, changed.pk, visited.pk}


def test_a_stop_is_never_set_aside(site):
    lesion = lesion_with(site, COURSES["slow"])
    looked(lesion, "stop")
    factories.red_flag(of=lesion.limb.person)
    assert where(site) == {lesion.pk: "stop"}
    assert not only(site).may_be_seen


def test_a_newer_look_counts_and_an_older_one_does_not_hide_it(site):
    lesion = lesion_with(site, COURSES["slow"])
    looked(lesion, "slow", note="first")
    looked(lesion, "slow", note="second")
    (row,) = review_list(site, timezone.localdate()).seen
    assert row.seen.note == "second"


def test_filters_show_what_they_say_and_count_the_whole_list(site):
    worse, calm = lesion_with(site, COURSES["worsening"], kg=None), lesion_with(site, COURSES["on_course"])
    factories.prescription(of=calm.limb, lesions=[calm], device_class="total_contact_cast")
    today = timezone.localdate()

    def shown(**asked):
        found = review_list(site, today, ReviewFilter(**asked))
        assert found.total == 2
        return [row.lesion.pk for group in found.groups for row in group.rows]

    assert shown(concern="worsening") == [worse.pk]
    assert shown(due="weight") == [worse.pk]
    assert shown(device="total_contact_cast") == [calm.pk]
    assert shown(device="none") == [worse.pk]
    assert shown(device="none", concern="on_course") == []
    assert review_list(site, today).concerns == (("worsening", "Worsening", 1), ("on_course", "On track", 1))


def test_a_prescription_waiting_for_its_second_signature_is_due_and_can_be_filtered(site):
    lesion = lesion_with(site, COURSES["on_course"])
    other = lesion_with(site, COURSES["on_course"])
    device = factories.prescription(of=lesion.limb, second_needed=True)
    factories.prescription(of=other.limb)
    (row,) = [row for group in review_list(site, AGO(0)).groups for row in group.rows if row.lesion == lesion]
    second = [due for due in row.due if due.kind == "second"]
    assert "waits for a second signature" in second[0].words
    assert row.concern == "due"
    shown = review_list(site, AGO(0), ReviewFilter(due="second"))
    assert [row.lesion for group in shown.groups for row in group.rows] == [lesion]
    device.second_by, device.second_at = factories.author(), timezone.now()
    device.signed_by = factories.user("podiatrist", at=site)
    device.save()
    assert not review_list(site, AGO(0), ReviewFilter(due="second")).shown
