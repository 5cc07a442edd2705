"""Telling a problem with a page; settling it."""

from __future__ import annotations

import re

from django.contrib import messages
from django.http import HttpResponse, HttpResponseNotAllowed
from django.shortcuts import get_object_or_404, redirect, render

from clinic.access import ClinicRequest, may, site_or_404
from clinic.accounts.forms.trust import ProblemForm
from clinic.accounts.writes.problems import problem_settle, problem_tell, program_version
from clinic.models import Problem


def _clean(value: str, pattern: str) -> str:
    return value if re.fullmatch(pattern, value) else ""


@may("tell_problem")
def problem_new(request: ClinicRequest) -> HttpResponse:
    site = site_or_404(request.user, request)
    page = _clean(request.GET.get("page", ""), r"[a-z_]{1,60}")
    number = _clean(request.GET.get("number", ""), r"[0-9a-f]{0,32}")
    form = ProblemForm(request.POST or None, initial={"page": page or "home", "number": number})
    if request.method == "POST" and form.is_valid():
        problem_tell(
            by=request.user,
            site=site,
            kind=form.cleaned_data["kind"],
            page=form.cleaned_data["page"],
            request_id=form.cleaned_data["number"],
        )
        messages.success(
            request, "Thank you. The managers and podiatrists of this clinic see it under Settings."
        )
        return redirect("home")
    return render(
        request,
        "accounts/problems/new.html",
        {"form": form, "page": form["page"].value(), "version": program_version(), "site": site},
        status=422 if form.errors else 200,
    )


@may("settings")
def problem_settled(request: ClinicRequest, problem: int) -> HttpResponse:
    found = get_object_or_404(Problem, pk=problem, site__in=request.user.site_ids)
    if request.method != "POST":
        return HttpResponseNotAllowed(["POST"])
    problem_settle(problem=found)
    messages.success(request, "Settled.")
    return redirect("settings")
