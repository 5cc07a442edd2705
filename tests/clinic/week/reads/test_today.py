from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from clinic.evidence.reads.bone_standing import bone_standing
from clinic.evidence.reads.standing import standing_of
from clinic.models import BoneJudgement, Contact, Lesion, Measurement, Visit
from clinic.record.dates import day_words
from clinic.week.reads.today import today_lists
from tests import factories, factories_care

pytestmark = pytest.mark.django_db

TODAY = timezone.localdate


def days(n):
    return TODAY() + timedelta(days=n)


def case(site, *, next_on=None, visited=-7, **fields):
    """A person with one open lesion and, unless `visited` is None, one visit."""
    who = factories.person(at=site, **fields)
    lesion = factories.lesion(on=factories.limb(of=who))
    if visited is not None:
        at = factories.visit(of=who, on=days(visited), next_on=next_on)
        factories.measurement(at=at, of=lesion)
    return who


def names(lists):
    """List name -> people on it."""
    return {
        name: [row.person for row in getattr(lists, name)]
        for name in ("flagged", "overdue", "due", "coming", "no_date", "remission")
        if getattr(lists, name)
    }


def test_the_next_date_of_the_latest_visit_decides(site):
    late = case(site, next_on=days(-1))
    due = case(site, next_on=days(0))
    soon = case(site, next_on=days(7))
    case(site, next_on=days(8))
    undated = case(site, next_on=None)
    unseen = case(site, visited=None)
    assert names(today_lists(site, TODAY())) == {
        "overdue": [late],
        "due": [due],
        "coming": [soon],
        "no_date": [undated, unseen],
    }


def test_a_later_visit_replaces_an_earlier_date_and_one_in_error_does_not(site):
    who = case(site, next_on=days(0))
    factories.visit(of=who, on=days(-1), next_on=days(5))
    assert names(today_lists(site, TODAY())) == {"coming": [who]}
    other = case(site, next_on=days(0))
    factories.visit(of=other, on=days(-1), next_on=days(5), state="in_error", error_reason="wrong patient")
    assert today_lists(site, TODAY()).due[0].person == other


def test_a_missed_visit_without_a_date_stands_under_no_next_date(site):
    who = case(site, next_on=days(-1))
    factories.visit(of=who, on=days(-1), attendance="did_not_come")
    row = today_lists(site, TODAY()).no_date[0]
    assert row.person == who
    assert "did not come: try to reach" in [ask.words for ask in row.asks]


def test_failed_attempts_since_the_last_entry_are_counted(site):
    who = case(site, next_on=days(-1))
    for result in ("not_reached", "message"):
        Contact.objects.create(
            person=who,
            tried_at=timezone.now(),
            how="telephone",
            result=result,
            created_by=factories.author(),
        )
    lists = today_lists(site, TODAY())
    (row,) = lists.morning.contacts
    assert [ask.message.id for ask in row.asks] == ["escalate_contact"]
    # Said once: the row by date does not repeat it.
    assert [ask.message.id for ask in lists.overdue[0].asks] == ["log_visit", "no_weight"]


def test_people_who_moved_or_died_and_other_sites_are_out(site, other_site):
    case(site, next_on=days(0), state="moved", state_on=days(-1))
    gone = case(site, next_on=days(-3), state="died", state_on=days(-1))
    factories.red_flag(of=gone)
    case(other_site, next_on=days(0))
    assert names(today_lists(site, TODAY())) == {}


def test_red_flags_come_before_sealed_devices_longer_past_their_day(site):
    flagged = case(site, next_on=days(20))
    factories.red_flag(of=flagged)
    factories.red_flag(of=flagged, answer="called", answered_at=timezone.now())
    late = case(site, next_on=days(20))
    factories.prescription(
        of=late.limbs.get(), device_class="total_contact_cast", sealed_on=days(-9), open_by=days(-1)
    )
    lists = today_lists(site, TODAY())
    assert [row.person for row in lists.flagged] == [flagged, late]
    assert "Fever" in lists.flagged[0].words
    assert lists.flagged[1].asks[0].url_name == "prescription_open"


def test_a_device_to_open_today_makes_the_person_due(site):
    who = case(site, next_on=days(20))
    device = factories.prescription(
        of=who.limbs.get(), device_class="total_contact_cast", sealed_on=days(-7), open_by=days(0)
    )
    (row,) = today_lists(site, TODAY()).due
    assert "open the non-removable left device today" in [ask.words for ask in row.asks]
    type(device).objects.filter(pk=device.pk).update(opened_on=days(0))
    assert names(today_lists(site, TODAY())) == {}


def test_an_old_weight_is_asked_for(site):
    who = case(site, next_on=days(0))
    factories.weight(of=who, on=days(-36))
    (row,) = today_lists(site, TODAY()).due
    assert "weight is 5 weeks old" in [ask.words for ask in row.asks]
    factories.weight(of=who, on=days(-30))
    (row,) = today_lists(site, TODAY()).due
    assert [ask.words for ask in row.asks] == ["log visit"]


def healed(site, confirmed, **visit):
    who = factories.person(at=site)
    lesion = factories.lesion(on=factories.limb(of=who), first_seen_on=days(-300))
    Lesion.objects.filter(pk=lesion.pk).update(
        state="healed", outcome="healed", closed_on=confirmed - timedelta(days=20), confirmed_on=confirmed
    )
    if visit:
        factories.visit(of=who, **visit)
    return who


def test_remission_is_due_by_its_date_or_after_three_months(site):
    dated = healed(site, days(-20), on=days(-20), next_on=days(0))
    healed(site, days(-20), on=days(-20), next_on=days(1))
    undated = healed(site, days(-90))
    healed(site, days(-89))
    healed(site, days(-200), on=days(-10))
    assert names(today_lists(site, TODAY())) == {"remission": [undated, dated]} or names(
        today_lists(site, TODAY())
    ) == {"remission": [dated, undated]}


def test_a_row_tells_the_last_area_the_change_and_draws_the_visits(site):
    who = factories.person(at=site)
    lesion = factories.lesion(on=factories.limb(of=who))
    factories.series(lesion, [3.0] * 9 + [2.0], last=days(-7))
    (row,) = today_lists(site, TODAY()).due
    line = row.lesions[0]
    assert line.last.startswith("2.00 cm², traced, before debridement")
    assert line.change == "33 % smaller (± 14 %, beyond error)"
    assert [area for _, area in line.areas] == [300.0] * 7 + [200.0]


def test_areas_of_two_methods_are_not_compared(site):
    who = factories.person(at=site)
    lesion = factories.lesion(on=factories.limb(of=who))
    factories.measurement(at=factories.visit(of=who, on=days(-7)), of=lesion)
    factories.measurement(
        at=factories.visit(of=who, on=days(0), next_on=days(7)), of=lesion, method="ellipse"
    )
    (row,) = today_lists(site, TODAY()).coming
    assert row.lesions[0].change.startswith("not compared")


def _queries(site):
    with CaptureQueriesContext(
        connection,
    ) as caught:
        today_lists(site, TODAY())
    return len(caught)


def test_the_number_of_queries_does_not_grow(site):
    def fill(n):
        for _ in range(n):
            who = case(site, next_on=days(-1))
            factories.red_flag(of=who)
            factories.prescription(
                of=who.limbs.get(), device_class="total_contact_cast", sealed_on=days(-9), open_by=days(-1)
            )
            healed(site, days(-100))

    fill(3)
    few = _queries(site)
    fill(9)
    assert _queries(site) == few <= 38


def test_a_prescription_waiting_for_its_second_signature_is_asked_of_those_who_may_sign_only(site):
    who = case(site, next_on=days(0))
    first = factories.user("podiatrist", at=site)
    waiting = factories.prescription(of=who.limbs.get(), signed_by=first, second_needed=True)
    other = factories.user("podiatrist", at=site)
    (row,) = today_lists(site, TODAY(), signer=other).morning.signatures
    assert row.person == who
    assert [(ask.message.id, ask.kind, ask.pk) for ask in row.asks] == [("sign_second", "ask", waiting.pk)]
    assert f"signed by {first}" in row.words
    assert not today_lists(site, TODAY(), signer=first).morning.signatures, (
        "nobody signs second after themselves"
    )
    assert not today_lists(site, TODAY()).morning.signatures, "nobody is asked for what they may not do"
    waiting.second_by, waiting.second_at = other, timezone.now()
    waiting.save()
    assert not today_lists(site, TODAY(), signer=other).morning.rows


def test_bone_that_was_felt_stands_on_today_until_it_is_judged(site):
    who = case(site, next_on=days(7))
    lesion = Lesion.objects.get(limb__person=who)
    row = Measurement.objects.get(lesion=lesion)

    def told():
        return [one.words for one in today_lists(site, TODAY()).morning.bones]

    assert told() == []
    Measurement.objects.filter(pk=row.pk).update(probe_to_bone=True)
    (words,) = told()
    assert words == f"{lesion}: bone felt with the probe on {day_words(days(-7))}, not judged since"
    before = factories_care.bone(of=lesion, state="possible", judged_on=days(-8))
    assert told() == [words]
    judged = factories_care.bone(of=lesion, state="possible", judged_on=days(-7))
    assert told() == []
    BoneJudgement.objects.filter(pk=judged.pk).update(in_error_because="another ulcer")
    assert told() == [words]
    assert bone_standing(lesion, standing_of(lesion.limb, TODAY())).probe_unanswered
    assert before.judged_on < days(-7)
    Visit.objects.filter(pk=row.visit_id).update(state="in_error", error_reason="wrong patient")
    assert told() == []
    Visit.objects.filter(pk=row.visit_id).update(state="stands", error_reason="")
    Lesion.objects.filter(pk=lesion.pk).update(state="ended", outcome="moved", ended_on=TODAY())
    assert told() == []
