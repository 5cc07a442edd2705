"""Taking the imprint of a lesion on the insole, and laying it in the insole's frame."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse

from clinic.access import ClinicRequest, can, may, visible_or_404
from clinic.capture.reads.traces import outline_rings, path_of, scale_rows
from clinic.capture.writes.scales import plane_frame
from clinic.models import Imprint, Lesion, PhotoSubject, PlacedBy
from clinic.people.reads.limbs import outline_of_limb
from clinic.people.reads.people import person_bar
from clinic.record.errors import Refused
from clinic.record.forms.refusals import show
from clinic.record.scripted import refused_with, sent_on, wants_json
from clinic.relief.forms.imprints import PlaceForm, TypedImprintForm
from clinic.relief.reads.imprints import Overlay, edge_and_print
from clinic.relief.writes.imprints import (
    HOLE_MARKS,
    MARKS,
    imprint_by_trace,
    imprint_typed,
    insole_of_lesion,
    looked_at,
    not_now,
)

LESIONS = Lesion.objects.select_related("limb__person__site")
#: What the three marks are, by the way of placing.
NAMES = {PlacedBy.LANDMARKS.value: MARKS, PlacedBy.HOLES.value: HOLE_MARKS}
LOOK_FIRST = (
    "The dashed line is the insole of the record over the photo: if it lies on the photographed edge at the "
    "heel and along both sides, press Keep the imprint; if not, move the marks or trace the edge again."
)


@may("log_visits")
def imprint_new(request: ClinicRequest, lesion: int) -> HttpResponse:
    """The steps of taking it, when not to, and the way by typed numbers."""
    found = visible_or_404(LESIONS, request.user, pk=lesion)
    form = TypedImprintForm(request.POST if request.method == "POST" else None)
    if request.method == "POST" and form.is_valid():
        data = form.cleaned_data
        try:
            imprint = imprint_typed(
                by=request.user,
                lesion=found,
                taken_on=data["taken_on"],
                centre=(data["x_mm"], data["y_mm"]),
                length_mm=data["length_mm"],
                width_mm=data["width_mm"],
                angle_deg=data["angle_deg"],
                dressing_mm=data["dressing_mm"],
                side_confirmed=data["side_confirmed"],
                note=data["note"],
            )
        except Refused as refused:
            show(form, refused)
        else:
            return _kept(request, imprint)
    context = {
        **_common(found),
        "form": form,
        "hindrance": _hindrance(found),
        "not_now": not_now(found),
        "last": found.imprints.order_by("-taken_on", "-pk").first(),
    }
    return render(request, "relief/imprints/new.html", context, status=422 if form.errors else 200)


@may("log_visits")
def imprint_place(request: ClinicRequest, scale: int) -> HttpResponse:
    """Lay the traced imprint on the insole by marks on the photo, or by the insole's traced edge."""
    found = visible_or_404(scale_rows(), request.user, pk=scale)
    lesion = found.photo.lesion
    if found.photo.subject != PhotoSubject.INSOLE:
        return redirect("trace_new", scale=found.pk)
    edge, print_trace = edge_and_print(found)
    if print_trace is None:
        return redirect("trace_new" if edge is None else "insole_from_photo", scale=found.pk)
    initial = {
        "trace": print_trace.pk,
        "placed_by": PlacedBy.OUTLINE if edge else PlacedBy.LANDMARKS,
    }
    form = PlaceForm(request.POST if request.method == "POST" else None, initial=initial)
    look: Overlay | None = None
    if request.method == "POST" and form.is_valid():
        data = form.cleaned_data
        names = NAMES.get(data["placed_by"], ())
        placement = {
            "lesion": lesion,
            "trace": found.traces.filter(pk=data["trace"]).first() or print_trace,
            "placed_by": data["placed_by"],
            "marks": dict(zip(names, data["marks"], strict=False)),
            "insole_trace": edge,
        }
        try:
            look = looked_at(**placement)
            if data["looked"] == look.token:
                imprint = imprint_by_trace(
                    by=request.user,
                    dressing_mm=data["dressing_mm"],
                    side_confirmed=data["side_confirmed"],
                    note=data["note"],
                    **placement,
                )
                return _kept(request, imprint)
            if wants_json(request):  # the page is then given back whole
                form.add_error("looked", f"{look.words} {LOOK_FIRST}")
        except Refused as refused:
            show(form, refused)
    if form.errors and wants_json(request):
        return refused_with(form)
    context = {
        **_common(lesion),
        "form": form,
        "scale": found,
        "photo": found.photo,
        "frame": plane_frame(found),
        "print_path": path_of(outline_rings(print_trace.outline_mm)),
        "edge_path": path_of(outline_rings(edge.outline_mm)) if edge else "",
        "look": look,
        "asks_outline": bool(form.errors.get("placed_by")),
        "look_first": LOOK_FIRST,
        "own": outline_of_limb(lesion.limb),
        "hindrance": _hindrance(lesion),
    }
    return render(request, "relief/imprints/place.html", context, status=422 if form.errors else 200)


def _hindrance(lesion: Lesion) -> str:
    try:
        insole_of_lesion(lesion)
    except Refused as refused:
        return refused.message
    return ""


def _kept(request: ClinicRequest, imprint: Imprint) -> HttpResponse:
    lesion = imprint.lesion
    messages.success(request, f"The imprint of ulcer {lesion.label} is kept.")
    if can(request.user, "plan_relief"):
        return sent_on(request, reverse("bench", args=[lesion.limb_id]))
    return sent_on(request, reverse("lesion", args=[lesion.pk]))


def _common(lesion: Lesion) -> dict[str, Any]:
    return {
        "lesion": lesion,
        "person": lesion.limb.person,
        "bar": person_bar(lesion.limb.person),
        "here": "people",
    }
