"""Registering a lesion, and correcting what was registered."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone

from clinic.access import ClinicRequest, may, visible_or_404
from clinic.curves.reads.lesions import has_open_episode, healed_lesions, open_lesions
from clinic.lesions.forms.lesions import LESION_FIELDS, LesionEditForm, LesionNewForm
from clinic.lesions.reads.foot_maps import pick_maps
from clinic.lesions.writes.lesions import lesion_correct, lesion_register
from clinic.models import Lesion, Person, PersonState, Side
from clinic.people.reads.limbs import both_limbs
from clinic.people.reads.people import person_bar
from clinic.people.views.registering import onward
from clinic.record.errors import Conflict, Refused
from clinic.record.forms.conflict import Difference, differences
from clinic.record.forms.refusals import show


@may("register")
def lesion_new(request: ClinicRequest, person: int) -> HttpResponse:
    found = visible_or_404(Person.objects.select_related("site"), request.user, pk=person)
    today = timezone.localdate()
    picked = {name: request.GET[name] for name in ("side", "place") if name in request.GET}
    form = LesionNewForm(
        request.POST or None,
        limbs=both_limbs(found),
        healed=healed_lesions(found),
        standing=open_lesions(found),
        needs_episode=not has_open_episode(found),
        initial={"first_seen_on": today, "first_assessed_on": today, **picked},
    )
    if request.method == "POST" and form.is_valid():
        try:
            lesion = lesion_register(by=request.user, limb=form.limb(), **form.answers())
        except Refused as refused:
            if refused.field == "another_here":
                form.ask_if_another()
            show(form, refused)
        else:
            messages.success(request, f"{lesion} is registered.")
            lesion_page = reverse("lesion", args=[lesion.pk])
            return onward(request, found, "lesion_new", found.pk, otherwise=lesion_page)
    return render(
        request,
        "lesions/new.html",
        {
            "form": form,
            "person": found,
            "in_care": found.state == PersonState.IN_CARE,
            "feet": [(side, pick_maps(side.value)) for side in (Side.LEFT, Side.RIGHT)],
            "bar": person_bar(found),
            "here": "people",
        },
        status=422 if form.errors else 200,
    )


def _lesion(request: ClinicRequest, pk: int) -> Lesion:
    rows = Lesion.objects.select_related("limb__person__site", "episode", "recurs_of__limb")
    return visible_or_404(rows, request.user, pk=pk)


def _values(lesion: Lesion) -> dict[str, object]:
    return {"side": lesion.limb.side, **{name: getattr(lesion, name) for name in LESION_FIELDS}}


@may("register")
def lesion_edit(request: ClinicRequest, lesion: int) -> HttpResponse:
    found = _lesion(request, lesion)
    form = LesionEditForm(
        request.POST or None,
        limbs=both_limbs(found.limb.person),
        initial={**_values(found), "version": found.version},
    )
    unlike: list[Difference] = []
    if request.method == "POST" and form.is_valid():
        try:
            lesion_correct(
                by=request.user,
                lesion=found,
                limb=form.limb(),
                why=form.cleaned_data["why"],
                expected_version=form.cleaned_data["version"],
                **form.lesion(),
            )
        except Conflict as conflict:
            found = _lesion(request, lesion)
            unlike = differences(form, _values(found), version=found.version)
            show(form, conflict)
        except Refused as refused:
            found = _lesion(request, lesion)
            show(form, refused)
        else:
            messages.success(request, f"{found} is corrected.")
            return redirect("lesion", lesion=found.pk)
    return render(
        request,
        "lesions/edit.html",
        {
            "form": form,
            "lesion": found,
            "unlike": unlike,
            "bar": person_bar(found.limb.person),
            "here": "people",
        },
        status=422 if form.errors else 200,
    )
