"""Registering a lesion in its episode, and correcting it."""

from datetime import timedelta

import pytest
from django.utils import timezone

from clinic.lesions.writes.lesions import lesion_correct, lesion_register
from clinic.models import AuditEvent, Episode, Lesion
from clinic.record.errors import Conflict, Refused
from clinic.record.writes import audit
from tests import factories


def days_ago(n):
    return timezone.localdate() - timedelta(days=n)


@pytest.fixture
def limb(person):
    return factories.limb(of=person)


@pytest.fixture
def other_limb(person):
    return factories.limb(of=person, side="right")


def register(by, limb, **fields):
    given = {
        "place": "mth_1",
        "wound_kind": "ulcer",
        "cause": "neuropathic",
        "onset_on": days_ago(30),
        "first_seen_on": days_ago(0),
        "episode": {"first_presented_on": days_ago(10), "first_assessed_on": days_ago(0)},
        **fields,
    }
    return lesion_register(by=by, limb=limb, **given)


def healed(limb, *, days=60, **fields):
    return factories.lesion(
        on=limb,
        **{
            "state": "healed",
            "outcome": "healed",
            "place": "mth_1",
            "first_seen_on": days_ago(200),
            "closed_on": days_ago(days),
            "confirmed_on": days_ago(days - 14),
            **fields,
        },
    )


def test_the_first_lesion_opens_the_episode_and_takes_the_letter_a(staff, limb):
    lesion = register(staff, limb)
    assert lesion.label == "A"
    assert lesion.episode.first_presented_on == days_ago(10)
    assert '"episode_opened":true' in AuditEvent.objects.get().detail


def test_a_second_lesion_joins_the_open_episode_under_the_next_letter(staff, limb, other_limb):
    first = register(staff, limb)
    second = register(staff, other_limb, episode=None)
    assert (second.label, second.episode) == ("B", first.episode)
    assert AuditEvent.objects.count() == 2


def test_the_27th_letter_is_aa(staff, limb):
    labels = [register(staff, limb, another_here=True).label for _ in range(27)]
    assert labels[0] == "A"
    assert labels[25:] == ["Z", "AA"]


def test_without_an_open_episode_the_first_presentation_is_asked_for(staff, limb):
    with pytest.raises(Refused, match="first presented"):
        register(staff, limb, episode=None)
    assert not Lesion.objects.exists()


def test_neither_lesion_nor_episode_is_stored_without_the_audit_row(staff, limb, monkeypatch):
    def refuse(**_):
        raise RuntimeError("the chain is closed")

    monkeypatch.setattr(audit, "record", refuse)
    with pytest.raises(RuntimeError):
        register(staff, limb)
    assert not Lesion.objects.exists()
    assert not Episode.objects.exists()


@pytest.mark.parametrize("state", ["moved", "died"])
def test_nobody_who_moved_or_died_gets_a_lesion(staff, person, limb, state):
    person.state, person.state_on = state, days_ago(1)
    person.save()
    with pytest.raises(Refused, match="no longer in care"):
        register(staff, limb)


@pytest.mark.parametrize(
    ("fields", "field"),
    [
        ({"onset_on": days_ago(-1)}, "onset_on"),
        ({"first_seen_on": days_ago(31)}, "first_seen_on"),
        (
            {"episode": {"first_presented_on": days_ago(1), "first_assessed_on": days_ago(2)}},
            "first_assessed_on",
        ),
    ],
)
def test_days_out_of_order_are_refused_at_their_field(staff, limb, fields, field):
    with pytest.raises(Refused) as refused:
        register(staff, limb, **fields)
    assert refused.value.field == field
    assert not Episode.objects.exists()


def test_a_second_wound_at_one_place_is_asked_about_first(staff, limb):
    register(staff, limb)
    with pytest.raises(Refused) as refused:
        register(staff, limb)
    assert refused.value.field == "another_here"
    assert register(staff, limb, another_here=True).label == "B"


def test_a_healed_lesion_at_the_same_place_asks_whether_it_came_back(staff, limb):
    before = healed(limb)
    with pytest.raises(Refused) as refused:
        register(staff, limb)
    assert refused.value.field == "recurs_of"
    assert register(staff, limb, recurs_of=before, recurrence_answered=True).recurs_of == before


def test_a_new_lesion_where_one_healed_may_be_said_to_be_new(staff, limb):
    healed(limb)
    assert register(staff, limb, recurrence_answered=True).recurs_of is None


@pytest.mark.parametrize("days", [14, 28])
def test_open_again_within_the_house_rule_is_the_same_lesion(staff, limb, days):
    before = healed(limb, days=days)
    with pytest.raises(Refused, match="within 28 days it is the same ulcer"):
        register(staff, limb, recurs_of=before, recurrence_answered=True)


def test_open_again_a_day_after_the_house_rule_recurs(staff, limb):
    before = healed(limb, days=29)
    assert register(staff, limb, recurs_of=before, recurrence_answered=True).recurs_of == before


def test_only_the_same_place_and_foot_can_come_back(staff, limb, other_limb):
    elsewhere = healed(other_limb)
    with pytest.raises(Refused) as refused:
        register(staff, limb, recurs_of=elsewhere, recurrence_answered=True)
    assert refused.value.field == "recurs_of"


def correct(by, lesion, **fields):
    given = {"limb": lesion.limb, "why": "wrong place typed", "expected_version": 1, **fields}
    return lesion_correct(by=by, lesion=lesion, **given)


def test_a_correction_keeps_its_reason_and_the_old_copy(staff, limb):
    lesion = factories.lesion(on=limb)
    correct(staff, lesion, place="mth_3")
    lesion.refresh_from_db()
    assert (lesion.place, lesion.version) == ("mth_3", 2)
    assert lesion.history.first().history_change_reason == "wrong place typed"
    assert AuditEvent.objects.get().verb == "corrected"


def test_a_correction_without_a_reason_is_refused(staff, limb):
    with pytest.raises(Refused) as refused:
        correct(staff, factories.lesion(on=limb), why=" ", place="mth_3")
    assert refused.value.field == "why"


def test_a_correction_on_an_old_copy_is_a_conflict(staff, limb):
    lesion = factories.lesion(on=limb)
    correct(staff, lesion, place="mth_3")
    with pytest.raises(Conflict):
        correct(staff, lesion, place="mth_4")
    assert AuditEvent.objects.count() == 1


def test_the_wrong_foot_is_put_right_until_a_device_stands_on_it(staff, limb, other_limb):
    lesion = factories.lesion(on=limb)
    assert correct(staff, lesion, limb=other_limb).limb == other_limb
    factories.prescription(of=other_limb, lesions=[lesion])
    with pytest.raises(Refused) as refused:
        correct(staff, lesion, limb=limb, expected_version=2)
    assert refused.value.field == "side"


def test_a_lesion_cannot_move_to_another_person(staff, site, limb):
    stranger = factories.limb(of=factories.person(at=site))
    with pytest.raises(Refused, match="another patient"):
        correct(staff, factories.lesion(on=limb), limb=stranger)


def test_first_seen_cannot_move_past_the_first_measurement(staff, person, limb):
    lesion = factories.lesion(on=limb, first_seen_on=days_ago(20))
    factories.series(lesion, [3, 2], last=days_ago(3))
    with pytest.raises(Refused, match="first measurement") as refused:
        correct(staff, lesion, first_seen_on=days_ago(5))
    assert refused.value.field == "first_seen_on"
