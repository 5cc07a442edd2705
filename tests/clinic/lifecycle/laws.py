"""What must hold after every event, for everybody. Each law reads the rows for itself and holds them against
what is shown.
"""

from __future__ import annotations

from collections import Counter
from typing import Any

from clinic.guidelines.devices import NON_REMOVABLE, WITH_INSOLE
from clinic.lifecycle.device import device_state_of
from clinic.models import (
    OPEN_STATES,
    Episode,
    IncomingCall,
    Lesion,
    LimbPlan,
    Look,
    Measurement,
    OpeningCard,
    Person,
    PlanFlag,
    Prescription,
    RedFlag,
    Referral,
    Visit,
    Weight,
)
from clinic.week.reads.review import review_list
from offload.models import PlanStep, ReliefPlan

from . import laws_people  # noqa: F401  its laws are in the list by being imported
from .shown import LAWS, Shown, law
from .world import World


def sealed_rows(shown: Shown) -> list[Any]:
    return [
        one
        for one in shown.all(Prescription)
        if one.device_class in NON_REMOVABLE
        and one.stopped_on is None
        and one.sealed_on is not None
        and one.opened_on is None
    ]


def sealed_in_care(shown: Shown) -> list[Any]:
    return [one for one in sealed_rows(shown) if shown.in_care(one)]


def _people(shown: Shown, rows: Any) -> Counter[int]:
    return Counter(shown.person_of(row).pk for row in rows if shown.in_care(row))


# --- devices ------------------------------------------------------------------------------------------------
@law
def a_sealed_device_at_its_day_is_asked_for_exactly_once(w: World, shown: Shown) -> None:
    """Of a restricted record the manager is asked."""
    asked = shown.asks("prescription_open")
    for device in sealed_in_care(shown):
        if device.open_by > w.today:
            continue
        person = shown.person_of(device)
        if person.restricted_on is None:
            told = f"device {device.pk}, open by {device.open_by}: {asked[device.pk]} rows"
            assert asked[device.pk] == 1, told
        else:
            assert shown.waits_for_the_manager(person.pk), f"device {device.pk}, restricted"


@law
def no_device_is_asked_for_before_its_day_or_after_its_end(w: World, shown: Shown) -> None:
    due = {one.pk for one in sealed_rows(shown) if one.open_by <= w.today}
    assert set(shown.asks("prescription_open")) <= due


@law
def the_next_date_never_passes_a_day_to_open_by(w: World, shown: Shown) -> None:
    for device in sealed_in_care(shown):
        newest = shown.newest_visit(shown.person_of(device).pk)
        if newest is None or newest.visited_on >= device.open_by:
            continue  # its day was past already, and stands as a stop
        next_on = newest.next_on
        assert next_on is None or next_on <= device.open_by, f"next {next_on}, open by {device.open_by}"


@law
def a_limb_has_one_running_device_and_it_is_in_one_state(w: World, shown: Shown) -> None:
    running = [one for one in shown.all(Prescription) if one.stopped_on is None]
    assert all(n == 1 for n in Counter(one.limb_id for one in running).values())
    for device in running:
        closed = device.sealed_on is not None and device.opened_on is None
        state = device_state_of(
            stopped=False,
            waits_second=device.second_needed and device.second_at is None,
            waits_confirmation=device.overriding
            and device.second_at is not None
            and device.second_confirmed_at is None,
            sealed=device.sealed_on is not None,
            opened=device.opened_on is not None,
            fitted=device.fitted_on is not None,
        )
        assert (state == "sealed") == closed, f"device {device.pk}: {state}"
        assert not closed or not device.overriding or device.second_confirmed_at is not None


def _of_another_sealing(card: OpeningCard, device: Prescription) -> bool:
    sealed = device.stopped_on is None and device.sealed_on is not None and device.opened_on is None
    return sealed and (card.sealed_on, card.open_by) != (device.sealed_on, device.open_by)


@law
def whoever_is_sealed_in_holds_a_card_that_says_the_same_day(w: World, shown: Shown) -> None:
    devices = shown.of(Prescription)
    for device in sealed_rows(shown):
        cards = [
            one for one in shown.all(OpeningCard) if devices[one.prescription_id].limb_id == device.limb_id
        ]
        given = []
        # Made after an opening that was taken back, a card is of a sealing that did not happen.
        cards = [card for card in cards if not _of_another_sealing(card, devices[card.prescription_id])]
        for card in cards:
            own = devices[card.prescription_id]
            void = any(other.pk > card.pk for other in cards) or own.stopped_on is not None
            void = void or (own.opened_on is not None and own.opened_on > card.sealed_on)
            if card.handed_at is not None and not void:
                given.append(card.open_by)
        assert given == [device.open_by], f"device {device.pk}"


@law
def a_device_that_waits_for_a_signature_stands_on_today(w: World, shown: Shown) -> None:
    mine = []
    for device in shown.all(Prescription):
        if not (device.second_needed and device.second_at is None and device.stopped_on is None):
            continue
        person = shown.person_of(device)
        signer = w.users[person.site_id]["podiatrist"][0]
        if person.state == "in_care" and (device.overriding or device.signed_by_id != signer.pk):
            mine.append(person.pk)
    assert shown.morning("signatures") == Counter(mine)


@law
def a_telephoned_signature_stands_on_today_until_confirmed(w: World, shown: Shown) -> None:
    waits = [
        one
        for one in shown.all(Prescription)
        if one.overriding
        and one.second_at is not None
        and one.second_confirmed_at is None
        and one.stopped_on is None
    ]
    assert shown.morning("confirmations") == _people(shown, waits)


@law
def nothing_is_sealed_over_a_plan_out_of_force(w: World, shown: Shown) -> None:
    """A plan that is sealed in was signed; what replaced it came later."""
    for device in sealed_rows(shown):
        if device.relief_plan_id is None or device.device_class not in WITH_INSOLE:
            continue
        if device.sealed_on == w.today and device.created_at.date() == w.today:
            assert shown.of(ReliefPlan)[device.relief_plan_id].state in ("signed", "superseded")


@law
def no_step_is_taken_back_twice(w: World, shown: Shown) -> None:
    """Of a plan that is only a draft nothing was done."""
    steps = shown.all(PlanStep)
    gone = [one.takes_back_id for one in steps if one.takes_back_id is not None]
    assert len(gone) == len(set(gone))
    assert all(shown.of(ReliefPlan)[one.plan_id].state != "draft" for one in steps)


# --- ulcers -------------------------------------------------------------------------------------------------
def found_at(shown: Shown, lesion: Any) -> list[tuple[Any, Any]]:
    """The visits that stand with what they found at an ulcer."""
    visits = shown.of(Visit)
    rows = [(visits[one.visit_id], one) for one in shown.all(Measurement) if one.lesion_id == lesion.pk]
    return [(visit, one) for visit, one in rows if visit.state == "stands"]


@law
def healed_and_to_confirm_have_no_later_open_area(w: World, shown: Shown) -> None:
    for lesion in shown.all(Lesion):
        if lesion.state in ("healed", "to_confirm"):
            for visit, found in found_at(shown, lesion):
                told = f"{lesion}, open at {visit.visited_on}"
                assert visit.visited_on <= lesion.closed_on or not found.area_mm2, told


@law
def closed_and_confirmed_rest_on_two_visits_that_stand(w: World, shown: Shown) -> None:
    # The right place of an ulcer registered in error takes its ends over; the findings may stay behind.
    right = {one.instead_id for one in shown.all(Lesion)}
    for lesion in shown.all(Lesion):
        if lesion.state not in ("healed", "to_confirm") or lesion.pk in right:
            continue
        covered = {
            visit.visited_on
            for visit, found in found_at(shown, lesion)
            if found.covered_dry or found.area_mm2 == 0
        }
        assert lesion.closed_on in covered, f"{lesion}: closed {lesion.closed_on}"
        if lesion.state == "healed":
            assert lesion.confirmed_on in covered
            assert lesion.confirmed_on > lesion.closed_on


@law
def an_open_ulcer_has_no_end_and_an_ended_one_has_one(w: World, shown: Shown) -> None:
    for lesion in shown.all(Lesion):
        ends = (lesion.confirmed_on, lesion.ended_on)
        assert any(ends) == (lesion.state not in OPEN_STATES), f"{lesion} {lesion.state} {ends}"


@law
def an_episode_is_open_while_an_ulcer_of_it_is(w: World, shown: Shown) -> None:
    still = {one.episode_id for one in shown.all(Lesion) if one.state in OPEN_STATES}
    assert not still & {one.pk for one in shown.all(Episode) if one.ended_on is not None}
    running = Counter(one.person_id for one in shown.all(Episode) if one.ended_on is None)
    assert all(n == 1 for n in running.values())


@law
def an_ulcer_and_its_episode_belong_to_one_person(w: World, shown: Shown) -> None:
    for lesion in shown.all(Lesion):
        assert shown.of(Episode)[lesion.episode_id].person_id == shown.person_of(lesion).pk
    for found in shown.all(Measurement):
        assert shown.of(Visit)[found.visit_id].person_id == shown.person_of(found).pk


@law
def every_open_ulcer_stands_on_review_once(w: World, shown: Shown) -> None:
    """Review is read again where the state of an ulcer, or whose it is, has changed, on another day, and
    where everything is read anew; not after an event that leaves all that as it was.
    """
    for site in w.sites:
        want = sorted(
            one.pk
            for one in shown.all(Lesion)
            if one.state in OPEN_STATES and shown.in_care(one) and shown.person_of(one).site_id == site.pk
        )
        asked = (w.today, want)
        if w.reviewed.get(site.pk) == asked and not shown.anew:
            continue
        found = shown.read(
            w, ("review", site.pk, w.today), lambda pk=site.pk: review_list(shown.clinic(pk), w.today)
        )
        rows = [row.lesion.pk for group in found.groups for row in group.rows]
        rows += [row.lesion.pk for row in found.seen]
        assert sorted(rows) == want
        assert found.total == len(rows)
        w.reviewed[site.pk] = asked


# --- dates and visits ---------------------------------------------------------------------------------------
@law
def nobody_with_an_open_ulcer_is_without_a_date_unseen(w: World, shown: Shown) -> None:
    people = {shown.person_of(one).pk for one in shown.all(Lesion) if one.state in OPEN_STATES}
    want = Counter()
    for pk in people:
        newest = shown.newest_visit(pk)
        if shown.of(Person)[pk].state == "in_care" and (newest is None or newest.next_on is None):
            want[pk] += 1
    assert shown.morning("no_date") == want


@law
def nobody_stands_twice_by_date(w: World, shown: Shown) -> None:
    assert all(n == 1 for n in shown.by_date().values())


@law
def a_begun_visit_stands_on_today(w: World, shown: Shown) -> None:
    begun = [one for one in shown.all(Visit) if one.unfinished and one.state == "stands"]
    assert shown.morning("begun") == _people(shown, begun)


@law
def what_was_taken_back_carries_no_date(w: World, shown: Shown) -> None:
    sealed = {shown.person_of(one).pk for one in sealed_rows(shown)}
    for lists in shown.lists.values():
        for row in (*lists.overdue, *lists.due, *lists.coming):
            newest = shown.newest_visit(row.person.pk)
            agreed = newest.next_on if newest else None
            assert agreed == row.day or (row.person.pk in sealed and row.day <= agreed)


@law
def what_a_visit_in_error_left_is_taken_back_or_stands_by_itself(w: World, shown: Shown) -> None:
    """Flags, weights and openings; what is kept for a reason points at the visit no more."""
    gone = {one.pk for one in shown.all(Visit) if one.state == "in_error"}
    for model in (RedFlag, Weight):
        left = [one.pk for one in shown.all(model) if one.visit_id in gone and one.withdrawn_on is None]
        assert not left, f"{model.__name__} {left}"
    assert not [one.pk for one in shown.all(Prescription) if one.opened_visit_id in gone]


# --- flags, calls, questions, referrals ---------------------------------------------------------------------
@law
def every_unanswered_flag_stands_on_today_once(w: World, shown: Shown) -> None:
    flags = [one for one in shown.all(RedFlag) if one.answer == "" and one.withdrawn_on is None]
    shown.stands_once("flags", "flag_answer", [one for one in flags if shown.in_care(one)])


@law
def every_unanswered_call_stands_on_today_once(w: World, shown: Shown) -> None:
    calls = [one for one in shown.all(IncomingCall) if one.done == ""]
    shown.stands_once("calls", "call_answer", [one for one in calls if shown.in_care(one)])


@law
def every_question_stands_on_today_until_read(w: World, shown: Shown) -> None:
    looks = [one for one in shown.all(Look) if one.read_at is None]
    assert shown.morning("looks") == _people(shown, looks)


@law
def an_immediate_referral_stands_until_reached(w: World, shown: Shown) -> None:
    """Of a restricted record the manager is asked."""
    asked = shown.asks("referral")
    for one in shown.all(Referral):
        over = one.result or one.cancelled_because or one.reached_at or one.accepted_at or one.seen_on
        if one.urgency != "immediate" or over or not shown.in_care(one):
            continue
        person = shown.person_of(one)
        if person.restricted_on is None:
            assert asked[one.pk] == 1, f"referral {one.pk}: {asked[one.pk]} rows"
        else:
            assert shown.waits_for_the_manager(person.pk), f"referral {one.pk}, restricted"


@law
def a_referral_answered_or_cancelled_is_owed_nothing(w: World, shown: Shown) -> None:
    over = {one.pk for one in shown.all(Referral) if one.result or one.cancelled_because}
    assert not over & set(shown.asks("referral"))


# --- plans --------------------------------------------------------------------------------------------------
@law
def a_limb_has_one_plan_in_force(w: World, shown: Shown) -> None:
    plans = shown.of(ReliefPlan)
    signed = Counter(
        one.limb_id
        for one in shown.all(LimbPlan)
        if one.ended_on is None and plans[one.plan_id].state == "signed"
    )
    assert all(n == 1 for n in signed.values()), "two plans in force"


@law
def every_question_over_a_plan_in_force_stands_on_today(w: World, shown: Shown) -> None:
    plans, links = shown.of(ReliefPlan), shown.of(LimbPlan)
    flags = [
        one
        for one in shown.all(PlanFlag)
        if one.answer == "" and one.withdrawn_on is None and links[one.limb_plan_id].ended_on is None
    ]
    flags = [one for one in flags if plans[links[one.limb_plan_id].plan_id].state == "signed"]
    assert shown.morning("plans") == _people(shown, flags)


def hold(w: World, *, anew: bool = False) -> None:
    """Every law, now. `anew`: on nothing that was kept from before."""
    mark = (w.today, w.tables.mark(()), sum(w.tables.times.values()))
    if mark == w.held and not anew:
        return  # nothing was written, and it is the same day
    shown = Shown(w, anew=anew)
    if anew:
        w.tables.proved()
    for one in LAWS:
        try:
            one(w, shown)
        except AssertionError as broken:
            broken.add_note(f"law: {one.__name__.replace('_', ' ')}; after: {w.event}")
            raise
    w.held = mark
