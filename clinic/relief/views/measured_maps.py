"""Pressure maps measured under a foot: adding one, looking at it on the insole, withdrawing it."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render

from clinic.access import ClinicRequest, may, visible_or_404
from clinic.models import Limb, MeasuredMap
from clinic.people.reads.limbs import insole_of_limb
from clinic.people.reads.people import person_bar
from clinic.record.errors import Refused
from clinic.record.forms.refusals import show
from clinic.relief.forms.measured_maps import BaselineMapForm, WithdrawForm
from clinic.relief.reads.measured_maps import map_facts
from clinic.relief.writes.measured_maps import map_keep
from clinic.relief.writes.measured_maps import map_withdraw as withdraw
from offload.pictures.maps import grid_picture, map_picture

MAPS = MeasuredMap.objects.select_related("limb__person__site", "created_by")


@may("fit_devices")
def measured_maps(request: ClinicRequest, limb: int) -> HttpResponse:
    found = visible_or_404(Limb.objects.select_related("person__site"), request.user, pk=limb)
    insole = insole_of_limb(found)
    context = {**_common(found), "maps": found.measured_maps.select_related("created_by"), "insole": insole}
    if insole is None:
        return render(request, "relief/maps.html", context)
    sent = request.method == "POST"
    form = BaselineMapForm(
        request.POST if sent else None, request.FILES if sent else None, insole=insole, initial=_usual(found)
    )
    if sent and form.is_valid() and form.measured is not None and not form.looking:
        data = form.cleaned_data
        try:
            row = map_keep(
                by=request.user,
                limb=found,
                measured_on=data["measured_on"],
                worn=data["worn"],
                taken=data["taken"],
                unit=data["unit"],
                grid=form.measured,
                points=form.points,
            )
        except Refused as refused:
            show(form, refused)
        else:
            messages.success(request, "The map is kept. See whether it lies where the foot lay.")
            return redirect("measured_map", measured_map=row.pk)
    if form.measured is not None:
        context["grid"] = grid_picture(form.measured, found.side)
    context["form"] = form
    return render(request, "relief/maps.html", context, status=422 if form.errors else 200)


@may("see_cases")
def measured_map(request: ClinicRequest, measured_map: int) -> HttpResponse:
    row = visible_or_404(MAPS, request.user, pk=measured_map)
    return _map_page(request, row, WithdrawForm(initial={"version": row.version}))


@may("fit_devices")
def map_withdraw(request: ClinicRequest, measured_map: int) -> HttpResponse:
    row = visible_or_404(MAPS, request.user, pk=measured_map)
    if request.method != "POST":
        return redirect("measured_map", measured_map=row.pk)
    form = WithdrawForm(request.POST)
    if form.is_valid():
        try:
            withdraw(
                by=request.user,
                row=row,
                because=form.cleaned_data["because"],
                expected_version=form.cleaned_data["version"],
            )
        except Refused as refused:
            show(form, refused)
            row.refresh_from_db()
        else:
            messages.success(request, "The map is withdrawn. Signed plans that start from it are flagged.")
            return redirect("measured_map", measured_map=row.pk)
    return _map_page(request, row, form, status=422)


def _usual(limb: Limb) -> dict[str, Any]:
    """What the last map of this foot was read with: the same system is at hand again."""
    last = limb.measured_maps.first()
    if last is None:
        return {"first_mark": "heel", "second_mark": "metatarsal_head_2"}
    return {
        "unit": last.unit,
        "cell_across": last.cell_across_mm,
        "cell_along": last.cell_along_mm,
        "kind": last.kind,
        "first_mark": last.points[0][0],
        "second_mark": last.points[1][0],
    }


def _map_page(
    request: ClinicRequest, row: MeasuredMap, form: WithdrawForm, status: int = 200
) -> HttpResponse:
    facts, picture = map_facts(row), ""
    if facts.placed and facts.insole:
        marks = [name for name, _, _ in row.points]
        picture = map_picture(facts.placed, facts.insole, row.limb.side, marks)
    context = {
        **_common(row.limb),
        "facts": facts,
        "picture": picture,
        "row": row,
        "form": form,
        "history_noun": "measuredmap",
        "history_pk": row.pk,
    }
    return render(request, "relief/map.html", context, status=status)


def _common(limb: Limb) -> dict[str, Any]:
    return {"limb": limb, "person": limb.person, "bar": person_bar(limb.person), "here": "people"}
