"""From the signed plan to the seal, and what puts a question mark over a plan."""

from __future__ import annotations

import uuid
from datetime import timedelta
from decimal import Decimal

import pytest
from django.utils import timezone

from clinic.capture.writes.measurement import LesionFindings
from clinic.devices.reads.advice import limb_decision
from clinic.devices.writes import prescriptions as writes
from clinic.models import AuditEvent, PlanFlag, WatchFinding, WatchPoint
from clinic.people.writes import people
from clinic.record.errors import Refused
from clinic.relief.writes import imprints, plan_life, watch
from clinic.relief.writes.plan_life import seal_check
from clinic.visits.writes import visits
from clinic.visits.writes.visits import PersonFindings
from offload.models import PlanStep
from tests import factories, feet
from tests.clinic.relief.writes.test_relief import draft, lesion, limb, running, sign

__all__ = ["lesion", "limb"]


@pytest.fixture
def plan(podiatrist, limb, lesion):
    return sign(podiatrist, draft(podiatrist, limb, lesion))


def cut(by, plan, **changes):
    told = {
        "code": plan.plan.code,
        "side": "right",
        "bar_mm": Decimal("100.0"),
        "depth_mm": Decimal("6.0"),
        "done_on": timezone.localdate(),
        **changes,
    }
    return plan_life.plan_cut(by=by, limb_plan=plan, **told)


def fit(by, plan):
    return plan_life.plan_fit(
        by=by, limb_plan=plan, code=plan.plan.code, side="right", done_on=timezone.localdate()
    )


def answer(by, flag):
    watch.plan_flag_answer(
        by=by, flag=flag, answer="Deepened and checked again.", expected_version=flag.version
    )


def check_again(by, plan):
    return check(by, plan, touches=False, note="The floor was ground 2 mm deeper.")


def check(by, plan, touches, **changes):
    label = plan.plan.spec["lesions"][0]["label"]
    told = {
        "found": "touched" if touches else "clean",
        "method": "marker",
        "dummy_marked": True,
        "where": [f"{label}:base"] if touches else [],
        "done_on": timezone.localdate(),
        **changes,
    }
    return plan_life.plan_check_contact(by=by, limb_plan=plan, **told)


def log(by, person, lesion, found, kg=None):
    return visits.visit_log(
        by=by,
        person=person,
        submission_key=uuid.uuid4(),
        found=PersonFindings(
            visited_on=timezone.localdate(),
            next_on=timezone.localdate() + timedelta(days=7),
            weight_kg=kg,
            weight_how="scales" if kg else "",
            watch=found,
        ),
        lesions=[LesionFindings(lesion=lesion, debridement="after", not_measured_because="test")],
    )


def test_signing_writes_the_places_to_watch(plan):
    points = list(WatchPoint.objects.filter(limb_plan=plan))
    assert [point.words for point in points] == [one["words"] for one in plan.plan.result["watch_points"]]
    assert points[0].kind == "rim"
    assert AuditEvent.objects.filter(verb="signed").count() == 1


def test_each_step_leaves_one_audit_row_and_none_if_that_fails(staff, plan, monkeypatch):
    before = AuditEvent.objects.count()
    cut(staff, plan)
    assert AuditEvent.objects.count() == before + 1

    def fail(**_):
        raise RuntimeError("disk full")

    monkeypatch.setattr(plan_life.audit, "record", fail)
    with pytest.raises(RuntimeError):
        fit(staff, plan)
    assert PlanStep.objects.count() == 1


def test_another_persons_sheet_stops(staff, plan):
    with pytest.raises(Refused, match="STOP") as refused:
        cut(staff, plan, code="ABCDEF")
    assert refused.value.field == "code"
    with pytest.raises(Refused, match="limit is today"):
        cut(staff, plan, done_on=timezone.localdate() + timedelta(days=1))


def test_contact_flags_the_plan_once(staff, plan):
    cut(staff, plan)
    fit(staff, plan)
    check(staff, plan, touches=True)
    check(staff, plan, touches=True)
    flag = PlanFlag.objects.get()
    assert (flag.cause, flag.limb_plan) == ("contact", plan)


def test_a_device_that_stays_on_is_sealed_only_after_cut_fit_and_check(staff, podiatrist, plan, limb, lesion):
    device = running(limb, lesion, device_class="walker_non_removable", relief_plan=plan.plan)
    today = timezone.localdate()
    for act, words in (
        (lambda: cut(staff, plan), "is not cut"),
        (lambda: fit(staff, plan), "not fitted and not checked"),
        (lambda: check(staff, plan, touches=True), "no contact check"),
        (lambda: check_again(staff, plan), "failed its contact check"),
        (lambda: answer(podiatrist, PlanFlag.objects.get()), "answer the question over"),
    ):
        with pytest.raises(Refused, match=words):
            seal_check(device, today)
        act()
    seal_check(device, today)
    lesion.imprints.all().delete()
    with pytest.raises(Refused, match="no imprint"):
        seal_check(device, today)


def test_what_a_seal_misses_is_named_at_once(staff, plan, limb, lesion):
    device = running(limb, lesion, device_class="walker_non_removable", relief_plan=plan.plan)
    cut(staff, plan)
    fit(staff, plan)
    check(staff, plan, touches=True)
    lesion.imprints.all().delete()
    with pytest.raises(Refused) as refused:
        seal_check(device, timezone.localdate())
    for words in ("no imprint", "failed its contact check", "answer the question over"):
        assert words in refused.value.message


def test_contact_is_not_answered_away(staff, plan):
    cut(staff, plan)
    fit(staff, plan)
    check(staff, plan, touches=True)
    for _ in range(2):
        with pytest.raises(Refused, match="what was changed") as refused:
            check(staff, plan, touches=False)
        assert refused.value.field == "note"
        fit(staff, plan)
    check_again(staff, plan)
    check(staff, plan, touches=False)


def test_a_device_without_a_plan_or_without_an_insole_is_not_held_up(limb, lesion):
    today = timezone.localdate()
    seal_check(running(limb, lesion, device_class="walker_non_removable"), today)


def test_a_hit_at_a_visit_is_kept_and_flags_the_plan(staff, plan, limb, lesion):
    first, *rest = WatchPoint.objects.filter(limb_plan=plan)
    log(staff, limb.person, lesion, {first.pk: "red", **{one.pk: "clear" for one in rest}})
    assert WatchFinding.objects.count() == 1 + len(rest)
    flag = PlanFlag.objects.get()
    assert flag.cause == "watch"
    assert flag.words.startswith(f"{first.words}: red over 20 min")


def test_nothing_looked_at_leaves_no_finding_and_a_strange_point_is_refused(staff, plan, limb, lesion):
    with pytest.raises(Refused, match="watch points have changed"):
        log(staff, limb.person, lesion, {987654: "red"})
    log(staff, limb.person, lesion, {})
    assert not WatchFinding.objects.exists()


@pytest.mark.parametrize(
    ("kilograms", "flags"),
    [
        (["91.9"], 0),
        (["92.0"], 1),
        (["90.5", "90.6"], 1),
        (["90.5", "89.0"], 0),
        (["95.0", "96.0", "97.0"], 1),
    ],
)
def test_a_weight_that_stays_beyond_the_threshold_flags_once(staff, plan, limb, kilograms, flags):
    for kg in kilograms:
        people.weight_add(
            by=staff, person=limb.person, kg=Decimal(kg), how="scales", measured_on=timezone.localdate()
        )
    assert PlanFlag.objects.filter(cause="weight").count() == flags


@pytest.mark.parametrize(("area", "flags"), [(120, 0), (126, 1), (60, 0), (20, 0)])
def test_a_wound_of_another_size_flags_the_plan_once(staff, plan, limb, lesion, area, flags):
    today = timezone.localdate()
    early = factories.visit(of=limb.person, visited_on=today - timedelta(days=8))
    factories.measurement(at=early, of=lesion, area_mm2=100)
    plan.plan.signed_at = timezone.now() - timedelta(days=7)
    plan.plan.save()
    late = factories.visit(of=limb.person, visited_on=today)
    factories.measurement(at=late, of=lesion, area_mm2=area)
    for _ in range(2):
        watch.plans_review(by=staff, person=limb.person, day=today)
    assert PlanFlag.objects.filter(cause="outline").count() == flags


@pytest.mark.parametrize(
    ("x", "size", "flags"), [(0.0, 10.0, 0), (1.0, 8.0, 0), (6.0, 14.0, 1), (0.0, 6.0, 0)]
)
def test_an_imprint_outside_the_planned_outline_flags_the_plan(staff, plan, limb, lesion, x, size, flags):
    # The plan was made for 14 x 10 mm at x = 0, y = 180 mm.
    imprints.imprint_typed(
        by=staff,
        lesion=lesion,
        taken_on=timezone.localdate(),
        centre=(x, 180.0),
        length_mm=size,
        width_mm=size / 1.4,
        side_confirmed=True,
    )
    assert PlanFlag.objects.filter(cause="outline").count() == flags


def test_an_answered_flag_stays_answered_for_weight_and_outline(podiatrist, plan, limb):
    people.weight_add(
        by=podiatrist, person=limb.person, kg=Decimal(95), how="scales", measured_on=timezone.localdate()
    )
    flag = PlanFlag.objects.get()
    with pytest.raises(Refused, match="missing"):
        watch.plan_flag_answer(by=podiatrist, flag=flag, answer=" ", expected_version=flag.version)
    watch.plan_flag_answer(
        by=podiatrist, flag=flag, answer="Fluid; weigh again Monday.", expected_version=flag.version
    )
    people.weight_add(
        by=podiatrist, person=limb.person, kg=Decimal(96), how="scales", measured_on=timezone.localdate()
    )
    assert PlanFlag.objects.count() == 1


def test_measured_peaks_are_kept_with_one_audit_row(staff, plan):
    before = AuditEvent.objects.count()
    row = plan_life.plan_measure(
        by=staff,
        limb_plan=plan,
        label="A",
        measured_on=timezone.localdate(),
        without_kpa=250.0,
        with_kpa=140.0,
        target_kind="none",
    )
    assert row.plan == plan.plan
    assert AuditEvent.objects.count() == before + 1


def test_a_plan_carried_over_to_another_device_is_checked_in_that_device_before_it_is_sealed(
    staff, podiatrist, plan, limb, lesion
):
    before = running(limb, lesion, device_class="walker_knee_high_removable", relief_plan=plan.plan)
    cut(staff, plan)
    fit(staff, plan)
    check(staff, plan, touches=False)
    feet.clean_foot(lesion)
    decision = limb_decision(limb, timezone.localdate(), {"over_weight_limit": False})
    made = writes.prescription_sign(
        by=podiatrist,
        limb=limb,
        lesions=[lesion],
        decision=decision,
        seen_digest=decision.digest,
        device_class="walker_non_removable",
        departure_reason="skill",
        reason="The boot is made to stay on now.",
        prescribed_on=timezone.localdate(),
        stop_reason="changed",
        carry_plan=True,
    )
    before.refresh_from_db()
    assert (before.stopped_on, before.stop_reason) == (timezone.localdate(), "changed")
    assert (made.relief_plan, before.relief_plan) == (plan.plan, plan.plan)
    assert made.content["carried_plan"] == plan.plan.code
    assert made.content["stops"]["label"] == "Removable knee-high walker"
    assert AuditEvent.objects.filter(verb="prescribed").count() == 1
    with pytest.raises(Refused, match="in the device before; check it in this one"):
        seal_check(made, timezone.localdate())
    check(staff, plan, touches=False)
    seal_check(made, timezone.localdate())


def test_a_replaced_plan_is_not_carried_over(podiatrist, plan, limb, lesion):
    running(limb, lesion, device_class="walker_knee_high_removable", relief_plan=plan.plan)
    plan.plan.state = "superseded"
    plan.plan.save()
    decision = limb_decision(limb, timezone.localdate(), {})
    with pytest.raises(Refused, match="was replaced"):
        writes.prescription_sign(
            by=podiatrist,
            limb=limb,
            lesions=[lesion],
            decision=decision,
            seen_digest=decision.digest,
            device_class="ankle_high_removable",
            departure_reason="skill",
            reason="A lower boot is enough now.",
            prescribed_on=timezone.localdate(),
            stop_reason="changed",
            carry_plan=True,
        )
    assert limb.prescriptions.get().stopped_on is None
