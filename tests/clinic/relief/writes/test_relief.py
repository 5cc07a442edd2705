"""Drafting and signing a relief plan from the record of a limb."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest
from django.utils import timezone

from clinic.models import AuditEvent, DangerOwner, Imprint, Lesion, LimbPlan, Prescription
from clinic.record.errors import Conflict, Refused
from clinic.relief.reads.relief_record import CutChoice, LesionShape, limb_record, obstacle, remarks
from clinic.relief.writes import relief
from clinic.relief.writes.setting_aside import plan_set_aside
from offload.core.errors import SpecError
from offload.core.shapes.lesion import Ellipse
from offload.models import PlanState, ReliefPlan
from tests import factories, feet

PLACE = Ellipse((0.0, 180.0), 14.0, 10.0)
HOUSE = CutChoice(5.0, 10.0, 45.0)


@pytest.fixture
def limb(person):
    factories.weight(of=person, kg=82)
    return factories.limb(of=person, side="right")


@pytest.fixture
def lesion(limb):
    return factories.lesion(on=limb)


def shape(lesion, how="traced", **changes):
    return LesionShape(lesion, how, replace(PLACE, **changes))


def draft(by, limb, lesion, choice=None, **more):
    return relief.plan_draft(by=by, limb=limb, shapes=[shape(lesion)], choice=choice, **more)


#: Asked where the coarse cells of the tests predict the space under all of the ulcer closed.
SHUT = "The clearance is measured in the shoe next."


def sign(by, made, **more):
    told = {"expected_version": made.plan.version, "shut_reason": SHUT, **more}
    return relief.plan_sign(by=by, limb_plan=made, **told)


def running(limb, lesion, **changes):
    return factories.prescription(of=limb, lesions=[lesion], facts={"region": "forefoot"}, **changes)


def flagged(limb, lesion, choice=HOUSE, **changes):
    found = remarks(limb_record(limb), [shape(lesion, **changes)], choice)
    return {check.id: check for check in found.checks if not check.passed}


def test_a_draft_is_built_from_the_record(podiatrist, limb, lesion, site):
    site.margin_mm, site.bevel_deg, site.weight_threshold_kg = 6, 60, 80
    site.save()
    limb.person.site.refresh_from_db()
    plan = draft(podiatrist, limb, lesion).plan
    assert plan.spec["side"] == "right"
    assert plan.spec["foot_length_mm"] == 260.0
    assert plan.spec["body_weight_kg"] == 82.0
    assert (plan.spec["margin_mm"], plan.spec["bevel_deg"]) == (6.0, 60.0)
    assert plan.result["cut_layers"] == ["base"]
    assert "foot_width_mm" not in plan.spec


def test_a_draft_leaves_one_audit_row_an_imprint_and_its_lesions(podiatrist, limb, lesion):
    made = draft(podiatrist, limb, lesion)
    event = AuditEvent.objects.get()
    assert (event.verb, event.target_kind, event.target_id) == ("drafted", "limbplan", str(made.pk))
    imprint = Imprint.objects.get()
    assert (imprint.lesion, imprint.how, imprint.taken_on) == (lesion, "traced", timezone.localdate())
    assert len(imprint.outline_mm) == 360
    assert list(made.lesions.all()) == [lesion]
    assert limb.person.family_name not in str(ReliefPlan.objects.values().get())


def test_nothing_is_kept_if_the_audit_row_fails(podiatrist, limb, lesion, monkeypatch):
    def fail(**_):
        raise RuntimeError("disk full")

    monkeypatch.setattr(relief.audit, "record", fail)
    with pytest.raises(RuntimeError):
        draft(podiatrist, limb, lesion)
    assert not ReliefPlan.objects.exists()
    assert not LimbPlan.objects.exists()
    assert not Imprint.objects.exists()


def test_the_same_draft_sent_twice_is_kept_once(podiatrist, limb, lesion):
    assert draft(podiatrist, limb, lesion) == draft(podiatrist, limb, lesion)
    assert ReliefPlan.objects.count() == LimbPlan.objects.count() == AuditEvent.objects.count() == 1


def test_an_imprint_that_did_not_move_is_not_stored_again(podiatrist, limb, lesion):
    draft(podiatrist, limb, lesion)
    draft(podiatrist, limb, lesion, CutChoice(7.0, 10.0, 45.0))
    assert ReliefPlan.objects.count() == 2
    assert Imprint.objects.count() == 1


def test_a_place_that_only_follows_from_the_site_name_is_said_so(podiatrist, limb, lesion):
    one = LesionShape(lesion, "placed", PLACE, from_site_name=True)
    made = relief.plan_draft(by=podiatrist, limb=limb, shapes=[one], choice=HOUSE)
    assert "name of the place" in Imprint.objects.get().note
    check = next(c for c in made.plan.result["checks"] if c["id"] == "lesion_place")
    assert (check["passed"], check["severity"]) == (False, "warn")
    assert "move it to the imprint" in check["message"]


def test_signing_gives_the_plan_to_the_running_device(podiatrist, limb, lesion):
    device = running(limb, lesion)
    made = sign(podiatrist, draft(podiatrist, limb, lesion))
    device.refresh_from_db()
    assert device.relief_plan == made.plan
    assert device.version == 2
    assert made.plan.state == PlanState.SIGNED
    assert list(AuditEvent.objects.values_list("verb", flat=True)) == ["drafted", "signed"]


def test_a_device_without_an_insole_gets_no_plan(podiatrist, limb, lesion):
    device = running(limb, lesion, device_class="felted_foam_with_footwear")
    made = draft(podiatrist, limb, lesion)
    sign(podiatrist, made)
    device.refresh_from_db()
    assert device.relief_plan is None


def test_a_stopped_device_gets_no_plan(podiatrist, limb, lesion):
    device = running(limb, lesion, stopped_on=timezone.localdate(), stop_reason="changed")
    sign(podiatrist, draft(podiatrist, limb, lesion))
    device.refresh_from_db()
    assert device.relief_plan is None


def test_a_new_version_replaces_the_plan_in_force_and_moves_the_device(podiatrist, limb, lesion):
    device = running(limb, lesion)
    first = sign(podiatrist, draft(podiatrist, limb, lesion))
    second = draft(podiatrist, limb, lesion, CutChoice(7.0, 10.0, 45.0))
    assert (second.plan.replaces, second.plan.number) == (first.plan, 2)
    sign(podiatrist, second)
    first.plan.refresh_from_db()
    device.refresh_from_db()
    assert first.plan.state == PlanState.SUPERSEDED
    assert device.relief_plan == second.plan


@pytest.mark.parametrize(
    ("before", "words"),
    [
        (False, "v1 of this foot was signed"),
        (True, "v1, which this draft would replace, was replaced already"),
    ],
    ids=["a first plan", "a next plan"],
)
def test_of_two_drafts_of_a_foot_one_is_signed_and_the_other_asks_for_a_new_version(
    podiatrist, limb, lesion, before, words
):
    if before:
        sign(podiatrist, draft(podiatrist, limb, lesion, CutChoice(8.0, 10.0, 45.0)))
    one, other = (draft(podiatrist, limb, lesion, CutChoice(mm, 10.0, 45.0)) for mm in (6.0, 7.0))
    sign(podiatrist, one)
    other = LimbPlan.objects.get(pk=other.pk)
    with pytest.raises(Refused, match=words):
        sign(podiatrist, other)
    other.plan.refresh_from_db()
    assert other.plan.state == PlanState.DRAFT
    assert limb_record(limb).in_force == one.plan
    again = draft(podiatrist, limb, lesion, CutChoice(7.0, 10.0, 45.0))
    sign(podiatrist, again)
    assert list(ReliefPlan.objects.filter(state=PlanState.SIGNED)) == [again.plan]


def test_a_draft_whose_plan_was_set_aside_meanwhile_is_signed(podiatrist, limb, lesion):
    first = sign(podiatrist, draft(podiatrist, limb, lesion))
    second = draft(podiatrist, limb, lesion, CutChoice(7.0, 10.0, 45.0))
    today = timezone.localdate()
    plan_set_aside(by=podiatrist, limb_plan=first, ended_on=today, because="The foot is not treated by it.")
    assert sign(podiatrist, second).plan == limb_record(limb).in_force


def test_a_stale_version_conflicts_and_signs_nothing(podiatrist, limb, lesion):
    made = draft(podiatrist, limb, lesion)
    with pytest.raises(Conflict):
        sign(podiatrist, made, expected_version=made.plan.version + 1)
    made.plan.refresh_from_db()
    assert made.plan.state == PlanState.DRAFT


def test_no_plan_is_signed_under_an_open_red_flag(podiatrist, limb, lesion):
    made = draft(podiatrist, limb, lesion)
    factories.red_flag(of=limb.person)
    with pytest.raises(Refused, match="red flag"):
        sign(podiatrist, made)


def test_a_plan_for_another_weight_is_not_signed(podiatrist, limb, lesion):
    made = draft(podiatrist, limb, lesion)
    factories.weight(of=limb.person, kg=95)
    with pytest.raises(Refused, match="now 95 kg, and this plan was computed for 82 kg"):
        sign(podiatrist, made)


def test_a_plan_for_a_lesion_that_has_closed_is_not_signed(podiatrist, limb, lesion):
    made = draft(podiatrist, limb, lesion)
    Lesion.objects.filter(pk=lesion.pk).update(state="ended", outcome="lost")
    with pytest.raises(Refused, match="no longer open"):
        sign(podiatrist, made)


def test_the_latest_finding_decides_rigidity_and_says_so(podiatrist, limb, lesion):
    factories.finding(of=limb, rigid_deformity=False, found_on=timezone.localdate() - timedelta(days=20))
    factories.finding(of=limb, rigid_deformity=True, found_on=timezone.localdate() - timedelta(days=3))
    factories.finding(of=limb, rigid_deformity=None)
    plan = draft(podiatrist, limb, lesion).plan
    assert plan.spec["rigid_deformity"] is True
    assert plan.result["cut_layers"] == ["middle", "base"]
    assert any(
        reason.startswith("Rigid, bony deformity: yes, from the finding of")
        for reason in plan.result["reasons"]
    )


def test_what_was_not_looked_at_is_noted(limb, lesion):
    assert flagged(limb, lesion)["rigid_deformity_known"].severity == "note"
    factories.finding(of=limb, rigid_deformity=False)
    assert "rigid_deformity_known" not in flagged(limb, lesion)


def test_setting_rigidity_against_the_finding_departs(limb, lesion):
    factories.finding(of=limb, rigid_deformity=True)
    against = CutChoice(5.0, 10.0, 45.0, rigid_deformity=False)
    (sentence,) = remarks(limb_record(limb), [shape(lesion)], against).departures
    assert "against the finding" in sentence


@pytest.mark.parametrize(
    ("choice", "words"),
    [
        (CutChoice(4.0, 10.0, 45.0), "margin all round is 4 mm; the house rule is 5 mm"),
        (CutChoice(5.0, 8.0, 45.0), "margin towards the toes is 8 mm; the house rule is 10 mm"),
        (CutChoice(5.0, 10.0, 60.0), "bevel is 60°; the house rule is 45°"),
    ],
)
def test_less_than_the_house_rule_departs_and_more_margin_does_not(limb, lesion, choice, words):
    (sentence,) = remarks(limb_record(limb), [shape(lesion)], choice).departures
    assert words in sentence
    assert not remarks(limb_record(limb), [shape(lesion)], CutChoice(9.0, 12.0, 45.0)).departures


def test_an_old_weight_is_flagged_by_the_sites_own_rule(limb, lesion, person):
    person.weights.all().delete()
    factories.weight(of=person, on=timezone.localdate() - timedelta(days=35))
    assert flagged(limb, lesion)["weight_age"].value == 35
    limb.person.site.weight_fresh_days = 40
    assert "weight_age" not in flagged(limb, lesion)


def test_without_weight_or_foot_length_nothing_is_drafted(podiatrist, limb, lesion, person):
    person.weights.all().delete()
    found = obstacle(limb_record(limb), [lesion])
    assert (found.id, found.route, found.argument) == ("weight", "weight_new", person.pk)
    with pytest.raises(Refused, match="No body weight"):
        draft(podiatrist, limb, lesion)
    limb.foot_length_mm = None
    assert obstacle(limb_record(limb), [lesion]).route == "limb_edit"
    assert not ReliefPlan.objects.exists()


@pytest.mark.parametrize(
    ("changes", "expected"),
    [
        ({"device_class": "total_contact_cast"}, "cast"),
        ({"device_class": "walker_non_removable"}, None),
        ({"device_class": "total_contact_cast", "stopped_on": "2026-01-02", "stop_reason": "changed"}, None),
    ],
)
def test_a_running_cast_has_no_insole(limb, lesion, changes, expected):
    factories.prescription(of=limb, **changes)
    found = obstacle(limb_record(limb), [lesion])
    assert (found.id if found else None) == expected


def test_a_foot_without_a_plantar_lesion_gets_no_plan(limb):
    on_top = factories.lesion(on=limb, place="dorsal_toe_2")
    assert obstacle(limb_record(limb), [on_top]).id == "not_plantar"
    assert obstacle(limb_record(limb), []).id == "no_lesion"


def test_a_lesion_of_the_other_foot_is_refused(podiatrist, limb, lesion, person):
    other = factories.lesion(on=factories.limb(of=person, side="left"))
    with pytest.raises(Refused, match="not on this limb"):
        relief.plan_draft(by=podiatrist, limb=limb, shapes=[shape(lesion), shape(other)])


def test_an_impossible_place_names_its_lesion_and_keeps_nothing(podiatrist, limb, lesion):
    with pytest.raises(SpecError, match="off the insole"):
        relief.plan_draft(by=podiatrist, limb=limb, shapes=[shape(lesion, centre=(90.0, 180.0))])
    assert not ReliefPlan.objects.exists()
    assert not AuditEvent.objects.exists()


def test_a_departure_is_signed_only_with_its_reason(podiatrist, limb, lesion):
    running(limb, lesion)
    made = draft(podiatrist, limb, lesion, CutChoice(5.0, 10.0, 45.0, cut="base"))
    with pytest.raises(Refused) as refused:
        sign(podiatrist, made)
    assert refused.value.field == "departure_reason"
    assert Prescription.objects.get().relief_plan is None
    done = sign(podiatrist, made, departure_reason="Middle layer worn flat.")
    assert done.plan.departure_reason == "Middle layer worn flat."
    assert "Middle layer worn flat." in AuditEvent.objects.get(verb="signed").detail


@pytest.mark.parametrize(
    ("rules", "words"),
    [
        ({"weight_threshold_kg": 60}, "threshold is now 60 kg; this plan was drawn at 90 kg"),
        ({"margin_mm": 8}, "The margin all round is 5 mm; the house rule is 8 mm"),
        ({"distal_margin_mm": 14}, "The margin towards the toes is 10 mm; the house rule is 14 mm"),
        ({"bevel_deg": 60}, "The bevel is 45°; the house rule is 60°"),
    ],
)
def test_a_draft_is_signed_by_the_house_rules_of_today(podiatrist, limb, lesion, site, rules, words):
    made = draft(podiatrist, limb, lesion)
    for name, value in rules.items():
        setattr(site, name, value)
    site.save()
    made = LimbPlan.objects.get(pk=made.pk)
    with pytest.raises(Refused, match=words):
        sign(podiatrist, made)
    made.plan.refresh_from_db()
    assert made.plan.state == PlanState.DRAFT


def test_looser_house_rules_ask_no_new_version(podiatrist, limb, lesion, site):
    made = draft(podiatrist, limb, lesion)
    site.margin_mm = site.distal_margin_mm = 3
    site.weight_fresh_days = 60
    site.save()
    assert sign(podiatrist, LimbPlan.objects.get(pk=made.pk)).plan.state == PlanState.SIGNED


def test_a_departure_that_was_known_when_the_plan_was_drawn_is_signed_with_its_reason(
    podiatrist, limb, lesion
):
    made = draft(podiatrist, limb, lesion, replace(HOUSE, margin_mm=4), departure_reason="Narrow forefoot.")
    assert sign(podiatrist, made).plan.state == PlanState.SIGNED


def taken(limb, danger, level, days=7):
    return DangerOwner.objects.create(
        limb=limb,
        danger=danger,
        level=level,
        team="Vascular team",
        taken_on=timezone.localdate(),
        next_on=timezone.localdate() + timedelta(days=days),
        created_by=factories.author(),
    )


def test_no_plan_is_signed_over_an_urgent_danger_until_a_team_has_taken_it(podiatrist, limb, lesion):
    made = draft(podiatrist, limb, lesion)
    factories.finding(of=limb, toe_pressure_mmhg=22)
    with pytest.raises(Refused, match="No team has taken this danger"):
        sign(podiatrist, made)
    taken(limb, "ischaemia", 3)
    assert sign(podiatrist, made).plan.state == PlanState.SIGNED


def test_a_plan_for_a_device_that_stays_on_is_not_signed_where_the_foot_does_not_allow_it(
    podiatrist, limb, lesion
):
    made = draft(podiatrist, limb, lesion)
    running(limb, lesion, device_class="walker_non_removable")
    with pytest.raises(Refused, match="The running device stays on"):
        sign(podiatrist, made)
    feet.clean_foot(lesion)
    assert sign(podiatrist, made).plan.state == PlanState.SIGNED
