"""Nobody leaves with something open and out of sight: it stands on Today until it is settled."""

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from clinic.case.writes.settling import KEPT, LineEnd, person_settle
from clinic.models import AuditEvent, LimbPlan, Look, PersonState, Prescription, Referral
from clinic.people.reads.left_open import KINDS, devices_without_ulcer, left_people, open_things
from clinic.people.writes.people import person_set_state
from clinic.record.errors import Refused
from clinic.relief.states import limb_plan_allowed
from clinic.week.reads.today import today_lists
from clinic.week.reads.today_cases import gather
from offload.models import ReliefPlan
from tests import factories, factories_care

TODAY = timezone.localdate
AGO = lambda days: TODAY() - timedelta(days=days)  # noqa: E731


def sealed_device(limb, lesion, *, sealed=10, by=3):
    return factories.prescription(
        of=limb,
        lesions=[lesion],
        device_class="total_contact_cast",
        first_offered="total_contact_cast",
        prescribed_on=AGO(sealed),
        fitted_on=AGO(sealed),
        sealed_on=AGO(sealed),
        open_by=AGO(by),
    )


def a_plan(limb, lesion, state="signed"):
    plan = ReliefPlan.objects.create(
        code=f"S{ReliefPlan.objects.count():05d}",
        side=limb.side,
        spec={},
        result={},
        sha256="0" * 64,
        core_version="test",
        created_at=timezone.now(),
        made_by="test",
        state=state,
        signed_at=timezone.now() if state == "signed" else None,
        signed_by="test" if state == "signed" else "",
    )
    link = LimbPlan.objects.create(limb=limb, plan=plan, created_by=factories.author())
    link.lesions.set([lesion])
    return link


@pytest.fixture
def everything(person, podiatrist):
    """One open thing of every kind, of one person."""
    limb = factories.limb(of=person)
    lesion = factories.lesion(on=limb)
    factories.visit(of=person, on=AGO(9), unfinished=True)
    sealed_device(limb, lesion)
    a_plan(limb, lesion, "draft")
    factories.red_flag(of=person)
    factories.call(of=person)
    by = {"created_by": factories.author()}
    Referral.objects.create(
        person=person, to="vascular", urgency="planned", because="test", made_at=timezone.now(), **by
    )
    factories_care.result(of=person, owner=podiatrist)
    factories_care.antibiotic(of=lesion)
    Look.objects.create(lesion=lesion, asked_at=timezone.now(), question="Deeper?", **by)
    factories_care.non_healing(of=lesion, due={"perfusion": TODAY()})
    factories.transfer(of=person)
    return person


def leave(person, by, state="moved", on=None):
    return person_set_state(
        by=by, person=person, state=state, state_on=on or TODAY(), expected_version=person.version
    )


def on_today(site):
    return [row.person.pk for row in today_lists(site, TODAY()).morning.left]


def words_for(thing, state="moved"):
    if thing.kind == "lesion":
        return LineEnd(thing.key, choice=state)
    if thing.kind == "device":
        return LineEnd(thing.key, "handed_over", "district nurse Tove", "GP, by telephone")
    return LineEnd(thing.key, words="handed to the clinic that takes over")


def test_every_kind_is_found(everything):
    leave(everything, factories.user("staff", at=everything.site))
    assert {thing.kind for thing in open_things(everything)} == set(KINDS)
    (left,) = left_people(everything.site)
    assert set(left.counts) == set(KINDS)
    assert left.sealed_by == AGO(3)


@pytest.mark.parametrize("state", [PersonState.MOVED, PersonState.DIED, PersonState.LOST])
def test_who_left_with_a_sealed_device_stands_on_today_until_it_is_settled(person, staff, state):
    limb = factories.limb(of=person)
    lesion = factories.lesion(on=limb)
    device = sealed_device(limb, lesion)
    leave(person, staff, state)
    assert on_today(person.site) == [person.pk]
    (row,) = today_lists(person.site, TODAY()).morning.left
    assert row.asks[0].kind == "stop"
    person_settle(by=staff, person=person, on=TODAY(), ends=[LineEnd(f"lesion_{lesion.pk}", state.value)])
    assert on_today(person.site) == [person.pk]
    left = person_settle(
        by=staff,
        person=person,
        on=TODAY(),
        ends=[LineEnd(f"device_{device.pk}", "taken_off", "Tove, district nurse")],
    )
    assert left == []
    assert on_today(person.site) == []
    device.refresh_from_db()
    assert (device.left_how, device.left_with, device.opened_on) == (
        "taken_off",
        "Tove, district nurse",
        TODAY(),
    )
    lesion.refresh_from_db()
    assert lesion.outcome == state.value


def test_each_thing_alone_keeps_the_person_on_today(everything, podiatrist):
    """Whatever is left out of the settling, the person stands there for it."""
    leave(everything, podiatrist)
    own_page = [t for t in open_things(everything) if not KINDS[t.kind].settled_here]
    assert {t.kind for t in own_page} == {"flag", "call", "visit", "transfer"}
    for thing in [t for t in open_things(everything) if KINDS[t.kind].settled_here]:
        assert on_today(everything.site) == [everything.pk]
        person_settle(by=podiatrist, person=everything, on=TODAY(), ends=[words_for(thing)])
    assert {t.kind for t in open_things(everything)} == {"flag", "call", "visit", "transfer"}
    assert on_today(everything.site) == [everything.pk]


@pytest.mark.parametrize(
    ("how", "words", "told", "missing"),
    [
        ("taken_off", "", "", "who took it off"),
        ("handed_over", "", "GP", "to whom"),
        ("not_known", "", "", "who was informed"),
    ],
)
def test_a_device_says_who(person, staff, how, words, told, missing):
    limb = factories.limb(of=person)
    device = sealed_device(limb, factories.lesion(on=limb))
    leave(person, staff)
    with pytest.raises(Refused, match=missing):
        person_settle(
            by=staff, person=person, on=TODAY(), ends=[LineEnd(f"device_{device.pk}", how, words, told)]
        )
    device.refresh_from_db()
    assert device.stopped_on is None


@pytest.mark.parametrize(
    ("how", "opened"), [("taken_off", True), ("handed_over", False), ("not_known", False)]
)
def test_only_a_device_that_was_taken_off_is_opened_by_it(person, staff, how, opened):
    limb = factories.limb(of=person)
    device = sealed_device(limb, factories.lesion(on=limb))
    leave(person, staff)
    person_settle(
        by=staff, person=person, on=TODAY(), ends=[LineEnd(f"device_{device.pk}", how, "Tove", "GP")]
    )
    device.refresh_from_db()
    assert (device.opened_on is not None) is opened


def test_one_line_refused_settles_none(everything, podiatrist):
    leave(everything, podiatrist)
    things = {t.kind: t for t in open_things(everything)}
    with pytest.raises(Refused) as refused:
        person_settle(
            by=podiatrist,
            person=everything,
            on=TODAY(),
            ends=[words_for(things["lesion"]), LineEnd(things["device"].key, "not_known")],
        )
    assert refused.value.field == f"informed_{things['device'].key}"
    assert {t.kind for t in open_things(everything)} == set(KINDS)


def test_a_plan_set_aside_is_not_signed_or_cut(everything, podiatrist):
    leave(everything, podiatrist)
    (thing,) = [t for t in open_things(everything) if t.kind == "plan"]
    person_settle(by=podiatrist, person=everything, on=TODAY(), ends=[words_for(thing)])
    thing.row.refresh_from_db()
    with pytest.raises(Refused, match="set aside"):
        limb_plan_allowed(thing.row, "sign")


def test_a_device_without_an_open_ulcer_is_asked_about_until_answered_and_again_after_the_next_ending(
    person, staff
):
    limb = factories.limb(of=person)
    lesion = factories.lesion(on=limb)
    device = factories.prescription(of=limb, lesions=[lesion], prescribed_on=AGO(30), fitted_on=AGO(30))
    assert not devices_without_ulcer()
    type(lesion).objects.filter(pk=lesion.pk).update(
        state="healed", outcome="healed", closed_on=AGO(20), confirmed_on=AGO(2)
    )
    assert on_today(person.site) == [person.pk]
    keep = LineEnd(f"device_{device.pk}", KEPT, "fitted shoe not back from the workshop")
    person_settle(by=staff, person=person, on=AGO(1), ends=[keep])
    assert on_today(person.site) == []
    type(lesion).objects.filter(pk=lesion.pk).update(confirmed_on=TODAY())
    assert on_today(person.site) == [person.pk]
    off = LineEnd(f"device_{device.pk}", "taken_off", "Nora")
    person_settle(by=staff, person=person, on=TODAY(), ends=[off])
    device.refresh_from_db()
    assert (device.stop_reason, on_today(person.site)) == ("healed", [])


def test_a_sealed_device_is_never_worn_on_without_an_ulcer(person, staff):
    limb = factories.limb(of=person)
    lesion = factories.lesion(on=limb)
    device = sealed_device(limb, lesion)
    type(lesion).objects.filter(pk=lesion.pk).update(
        state="ended", outcome="minor_amputation", ended_on=AGO(1)
    )
    with pytest.raises(Refused, match="sealed"):
        person_settle(
            by=staff, person=person, on=TODAY(), ends=[LineEnd(f"device_{device.pk}", KEPT, "as a shoe")]
        )


def test_settling_is_told_in_the_chain(everything, podiatrist):
    leave(everything, podiatrist)
    before = AuditEvent.objects.count()
    ends = [words_for(t) for t in open_things(everything) if KINDS[t.kind].settled_here]
    person_settle(by=podiatrist, person=everything, on=TODAY(), ends=ends)
    # A question is answered and read.
    assert AuditEvent.objects.count() == before + len(ends) + 1


def test_who_is_lost_and_comes_back_goes_on_with_the_same_ulcer(person, staff):
    from clinic.lesions.writes.closure import lesion_reopen

    lesion = factories.lesion(on=factories.limb(of=person))
    leave(person, staff, "lost")
    person_settle(by=staff, person=person, on=TODAY(), ends=[LineEnd(f"lesion_{lesion.pk}", "lost")])
    lesion.refresh_from_db()
    with pytest.raises(Refused, match="in care"):
        lesion_reopen(by=staff, lesion=lesion, reopened_on=TODAY(), expected_version=lesion.version)
    person.refresh_from_db()
    person_set_state(by=staff, person=person, state="in_care", state_on=None, expected_version=person.version)
    lesion = type(lesion).objects.get(pk=lesion.pk)
    lesion_reopen(by=staff, lesion=lesion, reopened_on=TODAY(), expected_version=lesion.version)
    assert (lesion.state, lesion.outcome, lesion.ended_on) == ("open", "", None)


def test_the_rows_of_today_cost_the_same_whatever_their_number(site, staff):
    def leavers(n):
        for _ in range(n):
            person = factories.person(at=site)
            limb = factories.limb(of=person)
            sealed_device(limb, factories.lesion(on=limb))
            leave(person, staff)

    leavers(1)
    with CaptureQueriesContext(connection) as one:
        assert len(on_today(site)) == 1
    leavers(4)
    with CaptureQueriesContext(connection) as five:
        assert len(on_today(site)) == 5
    assert len(one) == len(five)
    with CaptureQueriesContext(connection) as without:
        gather(site, TODAY(), timezone.now())
    assert len(five) - len(without) <= 6


def test_the_page_settles_and_keeps_what_was_typed(everything, as_podiatrist, podiatrist):
    leave(everything, podiatrist)
    things = {t.kind: t for t in open_things(everything)}
    page = reverse("settle", args=[everything.pk])
    shown = as_podiatrist.get(page).content.decode()
    assert all(t.words.split("“")[0][:20] in shown for t in things.values())
    device = things["device"].key
    sent = {"on": TODAY().isoformat(), f"choice_{device}": "not_known", f"words_{device}": "maybe Tove"}
    answer = as_podiatrist.post(page, sent)
    assert answer.status_code == 422
    assert b"maybe Tove" in answer.content
    assert b"who was informed" in answer.content
    answer = as_podiatrist.post(page, {**sent, f"informed_{device}": "GP"})
    assert answer.status_code == 302
    assert Prescription.objects.get(pk=things["device"].row.pk).left_told == "GP"


def test_the_manager_sees_who_left(everything, as_manager, podiatrist):
    assert b"something still open" not in as_manager.get(reverse("audit")).content
    leave(everything, podiatrist)
    assert b"something still open" in as_manager.get(reverse("audit")).content
    assert everything.full_name in as_manager.get(reverse("left_open")).content.decode()
    assert as_manager.get(reverse("settle", args=[everything.pk])).status_code == 200


def test_recording_that_somebody_moved_leads_to_the_page_that_settles(everything, as_staff):
    answer = as_staff.post(
        reverse("person_state", args=[everything.pk]),
        {"state": "lost", "state_on": TODAY().isoformat(), "version": everything.version},
    )
    assert answer.url == reverse("settle", args=[everything.pk])
