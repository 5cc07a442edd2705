"""A visit entered in error, and a visit that belongs to another person."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.html import format_html

from clinic.access import ClinicRequest, may, visible_or_404
from clinic.models import Person, Visit
from clinic.people.reads.people import person_bar
from clinic.record.errors import Refused
from clinic.record.forms.refusals import show
from clinic.rules.writes.visit_checks import sealed_devices
from clinic.visits.forms.taking_back import InErrorForm, MoveForm, MoveToForm
from clinic.visits.reads import lesions_to_see
from clinic.visits.traces_left import traces_of
from clinic.visits.writes import moving, taking_back

VISITS = Visit.objects.select_related("person__site", "created_by")
PEOPLE = Person.objects.select_related("site")


@may("log_visits")
def visit_in_error(request: ClinicRequest, visit: int) -> HttpResponse:
    found = visible_or_404(VISITS, request.user, pk=visit)
    traces = traces_of(found)
    form = InErrorForm(request.POST or None, traces=traces, initial={"version": found.version})
    if request.method == "POST" and form.is_valid():
        try:
            taking_back.visit_in_error(
                by=request.user,
                visit=found,
                reason=form.cleaned_data["reason"],
                expected_version=form.cleaned_data["version"],
                keep=form.keep,
                take=form.take,
            )
        except Refused as refused:
            show(form, refused)
        else:
            messages.success(
                request, "The visit is marked as entered in error; what it left is taken back with it."
            )
            return redirect("visit", visit=found.pk)
    context = {
        "form": form,
        "visit": found,
        "goes": [one for one in traces if one.goes],
        "left": [one for one in traces if not one.can_go],
        "bar": person_bar(found.person),
        "here": "people",
    }
    return render(request, "visits/in_error.html", context, status=422 if form.errors else 200)


@may("log_visits")
def visit_move_to(request: ClinicRequest, visit: int) -> HttpResponse:
    """Whose it is, by the number typed; the number travels in the body."""
    found = visible_or_404(VISITS, request.user, pk=visit)
    form = MoveToForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        number = form.cleaned_data["record_number"].strip()
        who = (
            Person.objects.visible_to(request.user)
            .filter(record_number__iexact=number, merged_into=None, site=found.person.site_id)
            .first()
        )
        if who is None or who.pk == found.person_id:
            why = "no record of this clinic has it" if who is None else "it is the record the visit stands in"
            form.add_error("record_number", f"Record number {number}: {why}.")
        else:
            return redirect("visit_move", visit=found.pk, person=who.pk)
    context = {"form": form, "visit": found, "bar": person_bar(found.person), "here": "people"}
    return render(request, "visits/move_to.html", context, status=422 if form.errors else 200)


@may("log_visits")
def visit_move(request: ClinicRequest, visit: int, person: int) -> HttpResponse:
    found = visible_or_404(VISITS, request.user, pk=visit)
    who = visible_or_404(PEOPLE, request.user, pk=person)
    traces = traces_of(found)
    apart = [one for one in traces if not moving.goes_along(one)]
    form = MoveForm(
        request.POST or None,
        visit=found,
        person=who,
        found=[row.lesion for row in found.measurements.select_related("lesion").order_by("lesion__label")],
        open_lesions=lesions_to_see(who),
        sealed=bool(sealed_devices(who)),
        traces=apart,
    )
    if request.method == "POST" and form.is_valid():
        data = form.cleaned_data
        try:
            moving.visit_move(
                by=request.user,
                visit=found,
                person=who,
                lesions=form.lesions,
                reason=data["reason"],
                expected_version=data["version"],
                next_on=data["next_on"],
                device_opened=data.get("device_opened", False),
                keep=form.keep,
                take=form.take,
            )
        except Refused as refused:
            show(form, refused)
        else:
            messages.success(request, f"The visit stands in the record of {who.full_name} now.")
            if any(key.startswith("dayweight-") for key in form.take):
                words = f"The weight is taken back and did not go along; was it {who.full_name}'s?"
                url = reverse("weight_new", args=[who.pk])
                messages.info(request, format_html('{} <a href="{}">Record it here</a>', words, url))
            return redirect("visit", visit=found.pk)
    context = {
        "form": form,
        "visit": found,
        "who": who,
        "along": [one for one in traces if moving.goes_along(one) and one.key != "next"],
        "left": [one for one in apart if not one.can_go],
        "bar": person_bar(found.person),
        "here": "people",
    }
    return render(request, "visits/move.html", context, status=422 if form.errors else 200)
