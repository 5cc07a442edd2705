"""A danger on record: raised once, taken by a team, raised again when worse or past its date, ended when
lifted.
"""

from datetime import date, timedelta

import pytest
from django.utils import timezone

from clinic.alerts.reads.known import feet_standing, known_beside
from clinic.alerts.reads.owners import owners_past
from clinic.alerts.writes.flags import flag_answer
from clinic.alerts.writes.owners import danger_take
from clinic.models import DangerOwner, RedFlag
from clinic.record.errors import Refused
from tests import factories

pytestmark = pytest.mark.django_db
TODAY = timezone.localdate


def ahead(days):
    return TODAY() + timedelta(days=days)


@pytest.fixture
def limb(person):
    made = factories.limb(of=person)
    factories.lesion(on=made)
    factories.finding(of=made, toe_pressure_mmhg=22)
    return made


def taken(by, limb, **told):
    return danger_take(
        by=by, limb=limb, **{"danger": "ischaemia", "team": "vascular team", "next_on": ahead(14), **told}
    )


def test_a_team_takes_a_danger_as_bad_as_it_stands(staff, limb):
    made = taken(staff, limb)
    assert (made.level, made.team, made.taken_on) == (3, "vascular team", TODAY())


def test_handing_on_keeps_who_had_it(staff, limb):
    taken(staff, limb)
    taken(staff, limb, team="city hospital")
    assert [row.team for row in DangerOwner.objects.order_by("pk")] == ["vascular team", "city hospital"]
    words = known_beside(feet_standing(limb.person, TODAY()))["severe_ischaemia"]
    assert len(words) == 1
    assert "city hospital, next" in words[0]


@pytest.mark.parametrize(
    ("told", "field"),
    [
        ({"danger": "gangrene"}, "danger"),
        ({"team": "  "}, "team"),
        ({"next_on": date(2020, 1, 1)}, "next_on"),
    ],
)
def test_a_danger_that_does_not_stand_a_nameless_team_or_a_past_day_is_refused(staff, limb, told, field):
    with pytest.raises(Refused) as refused:
        taken(staff, limb, **told)
    assert refused.value.field == field
    assert not DangerOwner.objects.exists()


def test_what_nobody_has_taken_says_so_beside_its_question(limb):
    words = known_beside(feet_standing(limb.person, TODAY()))
    assert set(words) == {"severe_ischaemia"}
    assert "toe pressure 22 mmHg" in words["severe_ischaemia"][0]
    assert words["severe_ischaemia"][0].endswith("nobody has taken it")


def test_a_flag_answered_as_known_gives_its_dangers_to_that_team(staff, limb):
    flag = factories.red_flag(of=limb.person, flags=["severe_ischaemia"], from_record={"ischaemia": 3})
    flag_answer(
        by=staff,
        flag=flag,
        answer="known",
        note="seen there last week",
        under="vascular team",
        until=ahead(20),
        expected_version=1,
    )
    row = DangerOwner.objects.get()
    assert (row.danger, row.level, row.team, row.next_on) == ("ischaemia", 3, "vascular team", ahead(20))


@pytest.mark.parametrize(
    ("told", "field"),
    [
        ({"answer": "known", "until": ahead(3)}, "under"),
        ({"answer": "known", "under": "vascular team"}, "until"),
        ({"answer": "known", "under": "vascular team", "until": ahead(-1)}, "until"),
        ({"answer": "treated_here", "under": "vascular team"}, "under"),
        ({"answer": "called", "until": ahead(3)}, "until"),
    ],
)
def test_a_known_danger_names_team_and_date_and_no_other_answer_does(staff, limb, told, field):
    flag = factories.red_flag(of=limb.person)
    with pytest.raises(Refused) as refused:
        flag_answer(by=staff, flag=flag, note="x", expected_version=1, **told)
    assert refused.value.field == field
    assert RedFlag.objects.get().answer == ""


def test_treated_here_today_answers_a_flag(staff, limb):
    flag = factories.red_flag(of=limb.person)
    flag_answer(by=staff, flag=flag, answer="treated_here", note="opened and drained", expected_version=1)
    assert RedFlag.objects.get().get_answer_display() == "Treated here today"


def test_a_past_date_stands_on_today_until_the_danger_is_lifted(limb):
    factories.danger_owner(of=limb, taken_on=ahead(-20), next_on=ahead(-1))
    people = {limb.person_id}
    assert [one.owner.team for one in owners_past(people, TODAY())[limb.person_id]] == ["vascular team"]
    limb.findings.all().update(toe_pressure_mmhg=75)
    assert owners_past(people, TODAY()) == {}


def test_a_later_team_with_a_date_to_come_ends_the_wait(limb):
    factories.danger_owner(of=limb, taken_on=ahead(-20), next_on=ahead(-1))
    factories.danger_owner(of=limb, taken_on=TODAY(), next_on=ahead(30))
    assert owners_past({limb.person_id}, TODAY()) == {}


@pytest.mark.parametrize("flag", ["abscess", "infection_3_4_or_bone", "spreading_redness"])
def test_whichever_flag_speaks_of_a_danger_gives_it_to_the_team(staff, limb, flag):
    visit = factories.visit(of=limb.person)
    signs = {"infection_looked": True, "infection_signs": ["pus", "redness"], "redness_mm": 30}
    factories.measurement(at=visit, of=limb.lesions.get(), deep_infection=False, unwell=False, **signs)
    row = factories.red_flag(of=limb.person, flags=[flag])
    flag_answer(
        by=staff,
        flag=row,
        answer="known",
        note="the ward has it",
        under="infection team",
        until=ahead(2),
        expected_version=1,
    )
    assert {owner.danger for owner in DangerOwner.objects.all()} >= {"infection"}
