"""Requesting a test, entering its result, and marking it as seen."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from clinic.access import ClinicRequest, may, visible_or_404
from clinic.alerts.forms.results import (
    ResultEditForm,
    ResultReportForm,
    ResultRequestForm,
    ResultSeenForm,
    ResultWithdrawForm,
)
from clinic.alerts.reads.results import result_row
from clinic.alerts.writes import results as writes
from clinic.models import OPEN_STATES, Lesion, Person, Result
from clinic.people.reads.limbs import both_limbs
from clinic.people.reads.people import person_bar
from clinic.record.errors import Refused
from clinic.record.forms.refusals import show
from clinic.record.views.taking_back import say_done

RESULTS = Result.objects.select_related("person__site", "owner", "seen_by", "limb", "lesion__limb")


def _about(person: Person, kept: Result | None = None) -> dict[str, Any]:
    """The clinic, feet and ulcers a request can name; an ulcer it names already stays even when closed."""
    lesions = Lesion.objects.filter(limb__person=person).select_related("limb").order_by("label", "pk")
    named = kept.lesion_id if kept else None
    return {
        "site": person.site,
        "limbs": both_limbs(person),
        "lesions": [one for one in lesions if one.state in OPEN_STATES or one.pk == named],
    }


@may("log_visits")
def result_new(request: ClinicRequest, person: int) -> HttpResponse:
    who = visible_or_404(Person.objects.select_related("site"), request.user, pk=person)
    wanted = request.GET.get("lesion", "")
    initial = {"about": f"lesion-{wanted}"} if wanted.isdecimal() else {}
    form = ResultRequestForm(request.POST or None, initial=initial, **_about(who))
    if request.method == "POST" and form.is_valid():
        try:
            made = writes.result_request(by=request.user, person=who, **form.request())
        except Refused as refused:
            show(form, refused)
        else:
            messages.success(request, f"{made.label} requested; it stands on Today when it is due.")
            return redirect("result", result=made.pk)
    context = {"form": form, "person": who, "bar": person_bar(who), "here": "people"}
    return render(request, "alerts/results/new.html", context, status=422 if form.errors else 200)


def _page(
    request: ClinicRequest, found: Result, form: forms.Form, template: str, **more: Any
) -> HttpResponse:
    context = {
        "form": form,
        "result": found,
        "row": result_row(found, timezone.localdate()),
        "bar": person_bar(found.person),
        "here": "people",
        **more,
    }
    return render(request, f"alerts/results/{template}.html", context, status=422 if form.errors else 200)


@may("see_cases")
def result(request: ClinicRequest, result: int) -> HttpResponse:
    found = visible_or_404(RESULTS, request.user, pk=result)
    return _page(request, found, forms.Form(), "detail")


@may("log_visits")
def result_edit(request: ClinicRequest, result: int) -> HttpResponse:
    found = visible_or_404(RESULTS, request.user, pk=result)
    about = f"lesion-{found.lesion_id}" if found.lesion_id else f"limb-{found.limb_id}"
    initial = {
        "kind": found.kind,
        "what": found.what,
        "about": about if found.limb_id else "",
        "requested_on": found.requested_on,
        "due_on": found.due_on,
        "owner": found.owner_id,
        "version": found.version,
    }
    form = ResultEditForm(request.POST or None, initial=initial, **_about(found.person, found))
    if request.method == "POST" and form.is_valid():
        data = form.request()
        version, why = data.pop("version"), data.pop("why")
        try:
            writes.result_correct(by=request.user, result=found, why=why, expected_version=version, **data)
        except Refused as refused:
            show(form, refused)
            found.refresh_from_db()
        else:
            messages.success(request, "The request is corrected; the earlier copy stays in its history.")
            return redirect("result", result=found.pk)
    return _page(request, found, form, "step", title="Correct the request", button="Save the correction")


def _step(
    request: ClinicRequest,
    found: Result,
    form: forms.Form,
    *,
    act: Callable[..., Result],
    title: str,
    button: str,
    done: str,
    back: str = "",
) -> HttpResponse:
    """Show the form of a step, or take it; `act` writes, with the form's fields by name; `back` names
    the page that takes it back.
    """
    if request.method == "POST" and form.is_valid():
        data = dict(form.cleaned_data)
        try:
            act(by=request.user, result=found, expected_version=data.pop("version"), **data)
        except Refused as refused:
            show(form, refused)
            found.refresh_from_db()
        else:
            if back:
                say_done(request, done, back, found.pk)
            else:
                messages.success(request, done)
            return redirect("result", result=found.pk)
    return _page(request, found, form, "step", title=title, button=button)


@may("log_visits")
def result_report(request: ClinicRequest, result: int) -> HttpResponse:
    found = visible_or_404(RESULTS, request.user, pk=result)
    return _step(
        request,
        found,
        ResultReportForm(request.POST or None, initial={"version": found.version}, kind=found.kind),
        act=writes.result_report,
        title="Correct the result" if found.result_on else "Enter the result",
        button="Save the result",
        done="The result is kept; it stands on Today until it is seen.",
    )


@may("log_visits")
def result_seen(request: ClinicRequest, result: int) -> HttpResponse:
    found = visible_or_404(RESULTS, request.user, pk=result)
    return _step(
        request,
        found,
        ResultSeenForm(request.POST or None, initial={"version": found.version}),
        act=writes.result_see,
        title="Mark reviewed",
        button="I have seen it",
        done=f"{found.label}: seen.",
        back="result_seen_take_back",
    )


@may("log_visits")
def result_withdraw(request: ClinicRequest, result: int) -> HttpResponse:
    found = visible_or_404(RESULTS, request.user, pk=result)
    return _step(
        request,
        found,
        ResultWithdrawForm(request.POST or None, initial={"version": found.version}),
        act=writes.result_withdraw,
        title="Withdraw the request",
        button="Withdraw it",
        done=f"{found.label}: withdrawn.",
    )
