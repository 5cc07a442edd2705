"""Courses of antibiotics of one ulcer."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from clinic.access import ClinicRequest, may, visible_or_404
from clinic.alerts.forms.antibiotics import AntibioticEditForm, AntibioticForm, AntibioticStopForm
from clinic.alerts.reads.antibiotics import course_row
from clinic.alerts.writes import antibiotics as writes
from clinic.models import AntibioticCourse, Lesion
from clinic.people.reads.people import person_bar
from clinic.record.errors import Refused
from clinic.record.forms.refusals import show
from clinic.record.reads.last_step import last_step_stands
from clinic.record.views.taking_back import say_done

COURSES = AntibioticCourse.objects.select_related("lesion__limb__person__site", "created_by")


@may("log_visits")
def antibiotic_new(request: ClinicRequest, lesion: int) -> HttpResponse:
    found = visible_or_404(Lesion.objects.select_related("limb__person__site"), request.user, pk=lesion)
    form = AntibioticForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            made = writes.antibiotic_start(by=request.user, lesion=found, **form.cleaned_data)
        except Refused as refused:
            show(form, refused)
        else:
            messages.success(request, f"{made.drug}: it stands on Today from its planned end on.")
            return redirect("antibiotic", course=made.pk)
    last = (
        found.measurements.exclude(infection_grade=None).select_related("visit").order_by("visit__visited_on")
    )
    context = {
        "form": form,
        "lesion": found,
        "last": last.last(),
        "bar": person_bar(found.limb.person),
        "here": "people",
    }
    return render(request, "alerts/antibiotics/new.html", context, status=422 if form.errors else 200)


def _page(
    request: ClinicRequest, found: AntibioticCourse, form: forms.Form, template: str, **more: Any
) -> HttpResponse:
    context = {
        "form": form,
        "course": found,
        "lesion": found.lesion,
        "row": course_row(found, timezone.localdate()),
        "bar": person_bar(found.lesion.limb.person),
        "here": "people",
        **more,
    }
    return render(request, f"alerts/antibiotics/{template}.html", context, status=422 if form.errors else 200)


@may("see_cases")
def antibiotic(request: ClinicRequest, course: int) -> HttpResponse:
    found = visible_or_404(COURSES, request.user, pk=course)
    return _page(request, found, forms.Form(), "detail", step_back=last_step_stands(found))


@may("log_visits")
def antibiotic_edit(request: ClinicRequest, course: int) -> HttpResponse:
    found = visible_or_404(COURSES, request.user, pk=course)
    initial = {name: getattr(found, name) for name in AntibioticEditForm.base_fields if name != "because"}
    form = AntibioticEditForm(request.POST or None, initial=initial)
    if request.method == "POST" and form.is_valid():
        data = dict(form.cleaned_data)
        version = data.pop("version")
        try:
            writes.antibiotic_change(by=request.user, course=found, expected_version=version, **data)
        except Refused as refused:
            show(form, refused)
            found.refresh_from_db()
        else:
            words = "The course is changed; what it said before stays in its history."
            say_done(request, words, "antibiotic_step_take_back", found.pk)
            return redirect("antibiotic", course=found.pk)
    return _page(request, found, form, "step", title="Prolong or correct", button="Save the change")


@may("log_visits")
def antibiotic_stop(request: ClinicRequest, course: int) -> HttpResponse:
    found = visible_or_404(COURSES, request.user, pk=course)
    form = AntibioticStopForm(request.POST or None, initial={"version": found.version})
    if request.method == "POST" and form.is_valid():
        data = dict(form.cleaned_data)
        version = data.pop("version")
        try:
            writes.antibiotic_stop(by=request.user, course=found, expected_version=version, **data)
        except Refused as refused:
            show(form, refused)
            found.refresh_from_db()
        else:
            say_done(request, f"{found.drug}: stopped.", "antibiotic_step_take_back", found.pk)
            return redirect("antibiotic", course=found.pk)
    return _page(request, found, form, "step", title="Stop the course", button="Stop it")
