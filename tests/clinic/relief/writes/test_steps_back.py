"""Steps of a plan taken back; a cut deeper than planned; a plan signed with its space predicted shut."""

from __future__ import annotations

from decimal import Decimal
from itertools import product

import pytest
from django.urls import reverse
from django.utils import timezone

from clinic.models import AuditEvent, PlanFlag
from clinic.record.errors import Refused
from clinic.relief.writes import plan_flags_back, plan_life
from clinic.relief.writes.plan_life import seal_check
from offload.models import PlanStep
from offload.plans.keeping import shut_under
from offload.plans.steps import DEEPER, Stage, plan_depth, stage_of
from tests.clinic.relief.writes.test_plan_life import answer, check, check_again, cut, fit, plan
from tests.clinic.relief.writes.test_relief import SHUT, draft, lesion, limb, running, sign

__all__ = ["lesion", "limb", "plan"]

TODAY = timezone.localdate


def stage(plan):
    plan.plan.refresh_from_db()
    return stage_of(type(plan.plan).objects.get(pk=plan.plan_id))


def back(by, plan, reason="typed at the wrong plan"):
    step = plan.plan.steps.exclude(kind="undone").filter(taken_back_by=None).order_by("-pk").first()
    return plan_life.plan_step_take_back(by=by, limb_plan=plan, step=step, reason=reason)


def touch(by, plan):
    return check(by, plan, touches=True)


def clean(by, plan):
    return check_again(by, plan)


@pytest.mark.parametrize(
    "ways",
    list(product((cut, fit, touch, clean), repeat=2)),
    ids=lambda ways: "-".join(one.__name__ for one in ways),
)
def test_a_step_taken_back_leaves_the_plan_where_it_stood(ways, staff, plan):
    for do in (cut, fit, *ways):
        before = stage(plan), PlanFlag.objects.standing().count()
        try:
            do(staff, plan)
        except Refused:
            continue
        rows = PlanStep.objects.count()
        back(staff, plan)
        assert (stage(plan), PlanFlag.objects.standing().count()) == before
        assert PlanStep.objects.count() == rows + 1
        do(staff, plan)


def test_only_the_newest_step_goes_and_each_only_once(staff, plan):
    first = cut(staff, plan)
    second = fit(staff, plan)
    with pytest.raises(Refused, match="newest step"):
        plan_life.plan_step_take_back(by=staff, limb_plan=plan, step=first, reason="slip")
    with pytest.raises(Refused, match="why"):
        plan_life.plan_step_take_back(by=staff, limb_plan=plan, step=second, reason=" ")
    back(staff, plan)
    back(staff, plan)
    assert stage(plan) == Stage.SIGNED
    with pytest.raises(Refused, match="newest step"):
        plan_life.plan_step_take_back(by=staff, limb_plan=plan, step=first, reason="again")


def test_contact_is_answered_by_a_cut_a_check_with_a_note_or_a_correction_only(staff, plan):
    cut(staff, plan)
    fit(staff, plan)
    touch(staff, plan)
    with pytest.raises(Refused, match="Say in at least"):
        check(staff, plan, touches=False)
    back(staff, plan)
    check(staff, plan, touches=False)
    assert stage(plan) == Stage.CHECKED
    assert not PlanFlag.objects.standing().exists()


def test_a_clean_check_taken_back_under_a_sealed_device_is_asked_about(staff, limb, lesion, plan):
    cut(staff, plan)
    fit(staff, plan)
    check(staff, plan, touches=False)
    device = running(
        limb,
        lesion,
        device_class="walker_non_removable",
        relief_plan=plan.plan,
        sealed_on=TODAY(),
        open_by=TODAY().replace(year=TODAY().year + 1),
    )
    back(staff, plan)
    assert "open it and check" in PlanFlag.objects.standing().get().words
    with pytest.raises(Refused, match="no contact check"):
        seal_check(device, TODAY())


@pytest.mark.parametrize("beyond", ["-1.0", "0.0", "0.5", "1.0", "1.1", "4.0", "10.0"])
def test_a_cut_beyond_the_plan_is_named_and_asked_about(beyond, staff, podiatrist, plan, as_staff):
    depth = plan_depth(plan.plan) + Decimal(beyond)
    told = {"depth_mm": depth, "note": "The knife slipped; 2 mm of floor are left."}
    if Decimal(beyond) > DEEPER:
        with pytest.raises(Refused, match="new version") as refused:
            cut(staff, plan, depth_mm=depth)
        assert refused.value.field == "note"
    step = cut(staff, plan, **told)
    assert step.beyond_mm == max(Decimal(0), Decimal(beyond))
    page = as_staff.get(reverse("plan", args=[plan.plan.code])).content.decode()
    assert ("deeper than planned" in page) == (Decimal(beyond) > 0)
    flags = PlanFlag.objects.standing().filter(cause="depth")
    assert flags.count() == int(Decimal(beyond) > DEEPER)
    for flag in flags:
        assert f"{Decimal(beyond)} mm deeper" in flag.words


def test_a_plan_predicted_shut_is_signed_only_with_a_sentence_that_is_kept(
    podiatrist, limb, lesion, as_podiatrist
):
    made = draft(podiatrist, limb, lesion)
    assert shut_under(made.plan) == [lesion.label]
    for told in ("", "  ", "because"):
        with pytest.raises(Refused, match="closed under load") as refused:
            sign(podiatrist, made, shut_reason=told)
        assert refused.value.field == "shut_reason"
    page = as_podiatrist.get(reverse("plan", args=[made.plan.code])).content.decode()
    assert "predicted closed under all of ulcer" in page
    signed = sign(podiatrist, made)
    signed.plan.refresh_from_db()
    assert signed.plan.shut_reason == SHUT
    assert SHUT in as_podiatrist.get(reverse("plan", args=[made.plan.code])).content.decode()
    event = AuditEvent.objects.filter(verb="signed", target_kind="limbplan").latest("pk")
    assert event.target_id == str(signed.pk)


def test_no_sentence_is_asked_or_kept_where_space_is_left(podiatrist, limb, lesion, monkeypatch):
    made = draft(podiatrist, limb, lesion)
    from offload.plans import keeping

    monkeypatch.setattr(keeping, "shut_under", lambda row: [])
    signed = sign(podiatrist, made)
    assert signed.plan.shut_reason == ""


def test_the_answer_to_a_question_is_taken_back_and_the_question_stands(staff, podiatrist, plan):
    cut(staff, plan)
    fit(staff, plan)
    touch(staff, plan)
    flag = PlanFlag.objects.get()
    answer(podiatrist, flag)
    flag.refresh_from_db()
    told = {"by": podiatrist, "flag": flag, "expected_version": flag.version}
    with pytest.raises(Refused, match="why"):
        plan_flags_back.plan_flag_answer_take_back(reason="", **told)
    flag.refresh_from_db()
    plan_flags_back.plan_flag_answer_take_back(
        reason="the wrong plan", **{**told, "expected_version": flag.version}
    )
    flag.refresh_from_db()
    assert (flag.answer, flag.answered_by) == ("", None)
    assert flag.history.count() == 3


def test_the_pages_take_a_step_and_an_answer_back(staff, plan, podiatrist, as_podiatrist):
    cut(staff, plan)
    fit(staff, plan)
    step = touch(staff, plan)
    flag = PlanFlag.objects.get()
    answer(podiatrist, flag)
    flag.refresh_from_db()
    page = as_podiatrist.get(reverse("plan", args=[plan.plan.code])).content.decode()
    url = reverse("plan_flag_answer_take_back", args=[flag.pk])
    assert url in page
    assert as_podiatrist.post(url, {"version": flag.version, "reason": "slip"}).status_code == 302
    url = reverse("plan_step_take_back", args=[plan.plan.code, step.pk])
    assert url in page
    assert as_podiatrist.post(url, {"version": 1, "reason": "slip"}).status_code == 302
    page = as_podiatrist.get(reverse("plan", args=[plan.plan.code])).content.decode()
    assert "<strong>taken back</strong>" in page
    assert not PlanFlag.objects.standing().exists()
