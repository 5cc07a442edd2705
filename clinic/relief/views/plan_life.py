"""What is done with a signed plan: cut, fitted, checked, measured; its question marks; what predictions
came to.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.contrib import messages
from django.forms import Form
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone

from clinic.access import ClinicRequest, may, note_listed, site_or_404, sites_of, visible_or_404
from clinic.models import LimbPlan, PlanFlag
from clinic.people.reads.people import person_bar
from clinic.record.errors import Refused
from clinic.record.forms.refusals import show
from clinic.record.messages import message_of
from clinic.record.views.taking_back import entry_page, say_done
from clinic.relief.forms.measured_maps import MapForm
from clinic.relief.forms.plan_life import (
    ContactCheckForm,
    CutStepForm,
    FitStepForm,
    MeasuredForm,
    SetAsideForm,
)
from clinic.relief.forms.watch import PlanFlagAnswerForm
from clinic.relief.reads.relief import measured_plans, plan_of_code
from clinic.relief.reads.watch import watch_count
from clinic.relief.writes.plan_life import plan_check_contact, plan_measure
from clinic.relief.writes.plan_life import plan_cut as cut
from clinic.relief.writes.plan_life import plan_fit as fit
from clinic.relief.writes.setting_aside import plan_set_aside as set_aside
from clinic.relief.writes.watch import plan_flag_answer as answer_flag
from offload.core.errors import ReliefError
from offload.core.plan.contact import FOLLOWS
from offload.core.pressure.agreement import peak_under
from offload.models import ReliefPlan
from offload.pictures.contact import contact_methods, contact_results
from offload.plans.keeping import PlanRefused, recomputed


def _plan(request: ClinicRequest, code: str) -> LimbPlan:
    found = plan_of_code(request.user, code)
    if found is None:
        raise Http404("no such plan")
    note_listed(request.user, {found.limb.person_id})
    return found


_MET = {True: ": met", False: ": not met", None: ""}


def labels_of(plan: ReliefPlan) -> list[str]:
    """Letters of a plan's ulcers."""
    return [one["label"] for one in plan.spec["lesions"]]


def _step(
    request: ClinicRequest,
    code: str,
    form_class: Callable[..., Form],
    words: dict[str, str],
    do: Callable[[LimbPlan, dict[str, Any]], str],
    template: str = "relief/step.html",
    beside: Callable[[ReliefPlan], dict[str, Any]] = lambda _: {},
    asks: Callable[[ReliefPlan], dict[str, Any]] = lambda _: {},
) -> HttpResponse:
    """One step's page: what is typed goes to the write; its refusal stands at the field."""
    found = _plan(request, code)
    form = form_class(request.POST or None, initial={"done_on": timezone.localdate()}, **asks(found.plan))
    if request.method == "POST" and form.is_valid():
        try:
            message_of = do(found, form.cleaned_data)
        except Refused as refused:
            show(form, refused)
        else:
            messages.success(request, message_of)
            return redirect("plan", code=found.plan.code)
    context = {
        "form": form,
        "found": found,
        "history_noun": "limbplan",
        "history_pk": found.pk,
        "plan": found.plan,
        "words": words,
        "bar": person_bar(found.limb.person),
        "here": "people",
    }
    context |= beside(found.plan)
    return render(request, template, context, status=422 if form.errors else 200)


@may("fit_devices")
def plan_cut(request: ClinicRequest, code: str) -> HttpResponse:
    def do(found: LimbPlan, data: dict[str, Any]) -> str:
        step = cut(by=request.user, limb_plan=found, **data)
        if step.passed:
            return "The cut is recorded: deep enough. Next, dress it and fit it."
        return (
            f"Kept as failed: {step.depth_mm} mm deep where {step.depth_planned_mm} mm were planned, more "
            "than 1 mm too "
            "shallow. Cut deeper and record it again."
        )

    words = {
        "title": "Record the cut",
        "lead": "Measure the printed bar of the sheet you cut from, and the opening at its shallowest.",
        "button": "Record the cut",
    }
    return _step(request, code, CutStepForm, words, do)


@may("fit_devices")
def plan_fit(request: ClinicRequest, code: str) -> HttpResponse:
    def do(found: LimbPlan, data: dict[str, Any]) -> str:
        fit(by=request.user, limb_plan=found, **data)
        return "The insole is fitted. Next, the contact check."

    words = {
        "title": "Fit the cut insole",
        "lead": "Read code and side from the insole in your hand, with this patient in front of you.",
        "button": "Record the fitting",
    }
    return _step(request, code, FitStepForm, words, do)


@may("fit_devices")
def plan_contact(request: ClinicRequest, code: str) -> HttpResponse:
    def do(found: LimbPlan, data: dict[str, Any]) -> str:
        plan_check_contact(by=request.user, limb_plan=found, **data)
        return f"The contact check is recorded. {FOLLOWS[data['found']]}"

    def beside(plan: ReliefPlan) -> dict[str, Any]:
        return {"methods": contact_methods(plan), "results": contact_results(plan)}

    def asks(plan: ReliefPlan) -> dict[str, Any]:
        return {"labels": labels_of(plan)}

    words = {
        "title": "Contact check",
        "lead": "Does the space under the ulcer stay open? The dummy shows that this check can fail.",
        "button": "Record the check",
    }
    return _step(request, code, ContactCheckForm, words, do, "relief/contact.html", beside, asks)


@may("fit_devices")
def plan_measured(request: ClinicRequest, code: str) -> HttpResponse:
    found = _plan(request, code)
    row = found.plan
    try:
        computed = recomputed(row)
    except PlanRefused as refused:
        messages.error(request, message_of("refused", words=refused).text)
        return redirect("plan", code=row.code)
    sent = request.POST or None
    labels = [lesion.label for lesion in computed.spec.lesions]
    form = MeasuredForm(sent, labels=labels, initial={"measured_on": timezone.localdate()})
    grids = MapForm(sent, request.FILES, insole=computed.insole)
    if request.method == "POST" and form.is_valid() and grids.is_valid():
        data = form.cleaned_data
        try:
            if grids.maps is not None:
                outline = next(one.outline for one in computed.spec.lesions if one.label == data["label"])
                without, with_cut = (peak_under(one, outline) for one in grids.maps)
            elif data["without_kpa"] is None or data["with_kpa"] is None:
                raise Refused("Peaks: both are needed, typed here or read from two grids.", field="with_kpa")
            else:
                without, with_cut = float(data["without_kpa"]), float(data["with_kpa"])
            kept = plan_measure(
                by=request.user,
                limb_plan=found,
                label=data["label"],
                measured_on=data["measured_on"],
                without_kpa=without,
                with_kpa=with_cut,
                from_map=grids.maps is not None,
                target_kind=data["target_kind"],
                target=None if data["target"] is None else float(data["target"]),
                note=data["note"],
            )
        except ReliefError as fault:
            grids.add_error(None, str(fault))
        except Refused as refused:
            show(form, refused)
        else:
            messages.success(
                request,
                f"Measured peaks kept: {without:.0f} kPa without, {with_cut:.0f} kPa with the cut. Target, "
                f"{kept.aim.words}{_MET[kept.met]}. The model was off by {kept.difference:+.0f} kPa.",
            )
            return redirect("plan", code=row.code)
    context = {
        "form": form,
        "grids": grids,
        "found": found,
        "history_noun": "limbplan",
        "history_pk": found.pk,
        "plan": row,
        "bar": person_bar(found.limb.person),
        "here": "people",
    }
    status = 422 if form.errors or grids.errors else 200
    return render(request, "relief/measured.html", context, status=status)


@may("plan_relief")
def plan_set_aside(request: ClinicRequest, code: str) -> HttpResponse:
    found = _plan(request, code)
    return entry_page(
        request,
        form=SetAsideForm(request.POST or None, initial={"ended_on": timezone.localdate()}),
        do=lambda data: set_aside(by=request.user, limb_plan=found, carried=False, **data),
        title=f"Set plan {found.plan.code} v{found.plan.number} aside",
        lead="Nothing is signed, cut or fitted from it any more. Its sheet and its steps stay to be read.",
        button="Set it aside",
        done=f"Plan {found.plan.code} v{found.plan.number} is set aside.",
        back=reverse("plan", args=[found.plan.code]),
        bar=person_bar(found.limb.person),
    )


@may("plan_relief")
def plan_flag_answer(request: ClinicRequest, plan_flag: int) -> HttpResponse:
    flag = visible_or_404(
        PlanFlag.objects.select_related("limb_plan__plan", "limb_plan__limb__person__site"),
        request.user,
        pk=plan_flag,
    )
    form = PlanFlagAnswerForm(request.POST or None, initial={"version": flag.version})
    if request.method == "POST" and form.is_valid():
        try:
            answer_flag(
                by=request.user,
                flag=flag,
                answer=form.cleaned_data["answer"],
                expected_version=form.cleaned_data["version"],
            )
        except Refused as refused:
            show(form, refused)
        else:
            say_done(request, "Answered: the plan stands.", "plan_flag_answer_take_back", flag.pk)
            return redirect("plan", code=flag.limb_plan.plan.code)
    context = {
        "form": form,
        "flag": flag,
        "plan": flag.limb_plan.plan,
        "limb": flag.limb_plan.limb,
        "bar": person_bar(flag.limb_plan.limb.person),
        "here": "people",
    }
    return render(request, "relief/flag.html", context, status=422 if form.errors else 200)


@may("see_cases")
def predictions(request: ClinicRequest) -> HttpResponse:
    site = site_or_404(request.user, request)
    context = {
        "site": site,
        "my_sites": sites_of(request.user),
        "watch": watch_count(site),
        "measured": measured_plans(site),
        "here": "review",
    }
    return render(request, "relief/predictions.html", context)
