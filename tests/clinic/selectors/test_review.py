"""The review list puts the worrying feet first and says why."""

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from clinic.selectors.review import CONCERNS, review_groups
from tests import factories

AGO = lambda days: timezone.localdate() - timedelta(days=days)  # noqa: E731
COURSES = {
    "worsening": [2.0, 2.2, 2.8, 3.5],
    "stalled": [3.0, 3.0, 2.9, 3.1, 3.0, 2.9],
    "slow": [3.0, 2.9, 2.7, 2.5, 2.4, 2.2, 2.1],
    "too_early": [1.2, 1.0],
    "on_course": [4.0, 3.4, 2.6, 2.0, 1.5, 1.1],
}


def lesion_with(site, areas, *, last=None, **fields):
    lesion = factories.lesion(on=factories.limb(of=factories.person(at=site)), **fields)
    factories.series(lesion, areas, last=last)
    return lesion


def where(site):
    """Lesion -> concern, in the order of the page."""
    return {
        row.lesion.pk: group.concern
        for group in review_groups(site, timezone.localdate())
        for row in group.rows
    }


def only(site):
    (group,) = review_groups(site, timezone.localdate())
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
    lesion_with(site, [1.0, 0.4], state="to_confirm", closed_on=AGO(3))
    flagged = lesion_with(site, COURSES["on_course"])
    factories.red_flag(of=flagged.limb.person)
    assert list(where(site).values()) == list(CONCERNS)


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
    assert (row.concern, row.reasons) == (
        "unmeasured",
        ("No area yet, 20 days after the lesion was first seen.",),
    )
    assert row.visit_words == "no visit yet"


@pytest.mark.parametrize(("open_by", "opened", "stop"), [
    (AGO(1), None, True), (AGO(0), None, False), (AGO(1), AGO(1), False),
])  # fmt: skip
def test_a_sealed_device_past_its_day_is_a_stop(site, open_by, opened, stop):
    lesion = lesion_with(site, COURSES["on_course"])
    factories.prescription(
        of=lesion.limb, lesions=[lesion], device_class="total_contact_cast", prescribed_on=AGO(8),
        fitted_on=AGO(8), sealed_on=AGO(8), open_by=open_by, opened_on=opened,
    )  # fmt: skip
    assert (only(site).concern == "stop") is stop


def test_closed_lesions_wait_for_their_day(site):
    lesion_with(site, [1.0, 0.4], state="to_confirm", closed_on=AGO(14))
    assert only(site).reasons[0].endswith("confirmation is due.")


def test_under_ninety_percent_at_week_eight_is_a_reason(site):
    lesion_with(site, [4.0, 3.6, 3.2, 2.8, 2.4, 2.0, 1.6, 1.2, 0.9])
    row = only(site)
    assert row.concern == "on_course"
    assert any("under 90 % at week 8" in reason for reason in row.reasons)


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
    factories.visit(of=lesion.limb.person, on=AGO(2), state="in_error", error_reason="wrong person")
    factories.visit(of=lesion.limb.person, on=AGO(1), attendance="did_not_come")
    assert only(site).visit_words == "last visit 9 days ago"


def test_the_number_of_queries_does_not_grow_with_lesions(site):
    def queries():
        with CaptureQueriesContext(connection) as caught:
            for group in review_groups(site, timezone.localdate()):
                for row in group.rows:
                    assert row.lesion.limb.person.full_name
                    assert row.spark
        return len(caught)

    def more(n):
        for _ in range(n):
            lesion = lesion_with(site, COURSES["slow"])
            factories.prescription(of=lesion.limb, lesions=[lesion], fitted_on=AGO(3))

    more(3)
    few = queries()
    more(9)
    assert queries() == few <= 8
