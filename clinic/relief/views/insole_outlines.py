"""The outline of the real insole: from a photo's traced edge, from the printed grid, and withdrawn."""

from __future__ import annotations

from functools import partial
from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse

from clinic.access import ClinicRequest, may, visible_or_404
from clinic.capture.reads.traces import outline_rings, path_of, scale_rows
from clinic.capture.writes.scales import plane_frame
from clinic.models import OPEN_STATES, InsoleOutline, Limb, PhotoSubject
from clinic.people.reads.limbs import drawn_insole, outline_of_limb
from clinic.people.reads.people import person_bar
from clinic.record.dates import day_words
from clinic.record.errors import Refused
from clinic.record.forms.refusals import show
from clinic.record.views.taking_back import take_back_page
from clinic.relief.forms.insole_outlines import OutlineFromPhotoForm, OutlinePointsForm
from clinic.relief.reads.imprints import edge_and_print
from clinic.relief.writes.insole_outlines import (
    outline_from_points,
    outline_from_trace,
    outline_of_trace,
    outline_withdraw,
)
from offload.pictures.insoles import insole_picture

LIMBS = Limb.objects.select_related("person__site")
OUTLINES = InsoleOutline.objects.standing().select_related("limb__person__site", "prescription")


@may("log_visits")
def insole_outline(request: ClinicRequest, limb: int) -> HttpResponse:
    """Which outline is used for the insole of this foot, and the way by points."""
    found = visible_or_404(LIMBS, request.user, pk=limb)
    drawn, own = drawn_insole(found), outline_of_limb(found)
    sent = request.method == "POST"
    form = OutlinePointsForm(request.POST if sent else None, request.FILES if sent else None)
    if sent and form.is_valid():
        data = form.cleaned_data
        try:
            outline_from_points(
                by=request.user, limb=found, taken_on=data["taken_on"], points=data["ring"], note=data["note"]
            )
        except Refused as refused:
            show(form, refused)
        else:
            messages.success(request, "The outline is kept: imprint, plan and template lie on it.")
            return redirect("insole_outline", limb=found.pk)
    used = drawn_insole(found, own)
    context = {
        **_common(found),
        "form": form,
        "own": own,
        "drawn": drawn,
        "picture": insole_picture(drawn, used, found.side) if drawn and used else "",
        "photos": _photographed(found),
        "to_photograph": found.lesions.filter(state__in=OPEN_STATES).order_by("pk"),
    }
    return render(request, "relief/insole/outline.html", context, status=422 if form.errors else 200)


@may("log_visits")
def insole_from_photo(request: ClinicRequest, scale: int) -> HttpResponse:
    """The traced edge of a photographed insole over the drawn one, before it is kept."""
    found = visible_or_404(scale_rows(), request.user, pk=scale)
    limb = found.photo.lesion.limb
    edge, _ = edge_and_print(found)
    if found.photo.subject != PhotoSubject.INSOLE or edge is None:
        return redirect(f"{reverse('trace_new', args=[found.pk])}?for=insole")
    form = OutlineFromPhotoForm(request.POST if request.method == "POST" else None)
    real, refusal = None, ""
    try:
        real = outline_of_trace(limb, edge)
    except Refused as refused:
        refusal = refused.message
    if request.method == "POST" and form.is_valid():
        try:
            outline_from_trace(by=request.user, limb=limb, trace=edge, note=form.cleaned_data["note"])
        except Refused as refused:
            show(form, refused)
        else:
            messages.success(request, "The outline is kept: imprint, plan and template lie on it.")
            return redirect("imprint_place", scale=found.pk)
    drawn = drawn_insole(limb)
    over = path_of([real.placing.to_photo(drawn.outline.exterior)]) if real and drawn else ""
    context = {
        **_common(limb),
        "form": form,
        "scale": found,
        "lesion": found.photo.lesion,
        "frame": plane_frame(found),
        "edge_path": path_of(outline_rings(edge.outline_mm)),
        "drawn_path": over,
        "real": real,
        "drawn": drawn,
        "length": real and max(y for _, y in real.outline) - min(y for _, y in real.outline),
        "refusal": refusal,
    }
    return render(request, "relief/insole/from_photo.html", context, status=422 if form.errors else 200)


@may("log_visits")
def insole_outline_withdraw(request: ClinicRequest, insole_outline: int) -> HttpResponse:
    found = visible_or_404(OUTLINES, request.user, pk=insole_outline)
    return take_back_page(
        request,
        found,
        partial(outline_withdraw, outline=found),
        title=f"Withdraw the insole outline of {day_words(found.taken_on)}",
        lead="The outline before it is used again, or the insole drawn from the foot's length. A signed plan "
        "is flagged.",
        button="Withdraw this outline",
        done="The outline is withdrawn.",
        back=reverse("insole_outline", args=[found.limb_id]),
        bar=person_bar(found.limb.person),
    )


def _photographed(limb: Limb) -> list[Any]:
    """Scaled photos of insoles of this foot, the newest first."""
    rows = scale_rows().filter(
        photo__lesion__limb=limb, photo__subject=PhotoSubject.INSOLE, photo__withdrawn_on=None
    )
    return list(rows.order_by("-photo__taken_on", "-pk")[:5])


def _common(limb: Limb) -> dict[str, Any]:
    return {"limb": limb, "person": limb.person, "bar": person_bar(limb.person), "here": "people"}
