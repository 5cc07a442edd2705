"""From a photo to an outline in millimetres: the reference marked, the lesion traced, the result handed
on.
"""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.http import Http404, HttpResponse, HttpResponseNotAllowed, JsonResponse
from django.shortcuts import render
from django.urls import reverse

from clinic.access import ClinicRequest, may, visible_or_404
from clinic.capture.forms.trace import ScaleForm, TraceForm
from clinic.capture.reads.traces import last_outline, path_of, scale_rows
from clinic.capture.writes.measurement import outline_planimetry
from clinic.capture.writes.scales import plane_frame, plane_picture, scale_guess, scale_store, scale_try
from clinic.capture.writes.traces import trace_store
from clinic.models import Photo, PhotoSubject, Trace
from clinic.people.reads.people import person_bar
from clinic.record.errors import Refused
from clinic.record.forms.refusals import show
from clinic.record.scripted import refused_with, sent_on, wants_json
from offload.core.shapes.scale_error import LARGEST_ERROR
from offload.core.sheets.insole_grid import grid_drawing
from offload.core.sheets.reference_sheet import reference_drawing
from offload.core.sheets.writers.pdf import write_pdf

PHOTOS = Photo.objects.select_related("lesion__limb__person__site")
#: What a trace is for: the visit that is being logged, or corrected, a repeat, or the imprint's page.
PURPOSES = ("visit", "repeat", "insole", "correction")


@may("log_visits")
def photo_scale(request: ClinicRequest, photo: int) -> HttpResponse:
    """Mark the reference in a photo."""
    found = visible_or_404(PHOTOS, request.user, pk=photo)
    purpose = _purpose(request)
    form = ScaleForm(request.POST if request.method == "POST" else None, initial=_first_marks(request, found))
    if request.method == "POST" and form.is_valid():
        try:
            scale = scale_store(by=request.user, photo=found, **form.marked())
        except Refused as refused:
            show(form, refused)
        else:
            return sent_on(request, _with(reverse("trace_new", args=[scale.pk]), purpose))
    if form.errors and wants_json(request):
        return refused_with(form)
    context = {
        **_common(found),
        "form": form,
        "purpose": purpose,
        "limit": LARGEST_ERROR,
    }
    return render(request, "capture/photos/scale.html", context, status=422 if form.errors else 200)


@may("log_visits")
def photo_scale_check(request: ClinicRequest, photo: int) -> HttpResponse:
    """What the marks would give, for the page to say before anything is kept."""
    found = visible_or_404(PHOTOS, request.user, pk=photo)
    if request.method != "POST":
        return HttpResponseNotAllowed(["POST"])
    form = ScaleForm(request.POST)
    if not form.is_valid():
        return JsonResponse({"refused": " ".join(str(e) for errors in form.errors.values() for e in errors)})
    try:
        tried = scale_try(photo=found, **form.marked())
    except Refused as refused:
        return JsonResponse({"refused": refused.message})
    return JsonResponse(
        {
            "marks": tried.marks,
            "snapped": tried.snapped,
            "residual_mm": tried.plane.residual,
            "error_percent": round(tried.error_percent, 1),
            "caveat": tried.caveat,
        }
    )


@may("log_visits")
def trace_new(request: ClinicRequest, scale: int) -> HttpResponse:
    """Draw over the flattened photo."""
    found = visible_or_404(scale_rows(), request.user, pk=scale)
    purpose = _purpose(request)
    form = TraceForm(request.POST if request.method == "POST" else None)
    if request.method == "POST" and form.is_valid():
        data = form.cleaned_data
        try:
            trace = trace_store(
                by=request.user,
                scale=found,
                outline=data["outline"],
                submission_key=data["submission_key"],
                blind=data["blind"],
            )
        except Refused as refused:
            show(form, refused)
        else:
            return sent_on(request, _hand_on(request, trace, purpose))
    if form.errors and wants_json(request):
        return refused_with(form)
    photo = found.photo
    last = None
    if purpose == "" or purpose == "visit":
        last = last_outline(photo.lesion, photo.taken_on)
    context = {
        **_common(photo),
        "scale": found,
        "frame": plane_frame(found),
        "form": form,
        "purpose": purpose,
        "is_insole": photo.subject == PhotoSubject.INSOLE,
        "last": last,
        "last_path": path_of(last.rings) if last else "",
    }
    return render(request, "capture/photos/trace.html", context, status=422 if form.errors else 200)


@may("log_visits")
def trace_check(request: ClinicRequest, scale: int) -> HttpResponse:
    """Planimetry of what is drawn so far; nothing is stored."""
    visible_or_404(scale_rows(), request.user, pk=scale)
    if request.method != "POST":
        return HttpResponseNotAllowed(["POST"])
    form = TraceForm(request.POST)
    form.fields["submission_key"].required = False
    if not form.is_valid() or not form.cleaned_data["outline"]:
        return JsonResponse({"refused": " ".join(str(e) for errors in form.errors.values() for e in errors)})
    try:
        found = outline_planimetry(form.cleaned_data["outline"])
    except Refused as refused:
        return JsonResponse({"refused": refused.message})
    return JsonResponse(
        {
            "area_mm2": round(found.area, 2),
            "perimeter_mm": round(found.perimeter, 2),
            "length_mm": round(found.length, 2),
            "width_mm": round(found.width, 2),
        }
    )


@may("see_cases")
def scale_picture(request: ClinicRequest, scale: int) -> HttpResponse:
    """The photo as seen from straight above, behind the same check as the photo itself."""
    found = visible_or_404(scale_rows(), request.user, pk=scale)
    try:
        content = plane_picture(found)
    except (Refused, OSError):
        raise Http404("the picture is not in the store") from None
    answer = HttpResponse(content, content_type="image/jpeg")
    answer["Cache-Control"] = "private, no-store"
    return answer


@may("see_cases")
def reference_sheet(request: ClinicRequest) -> HttpResponse:
    """Frames of known size to print and lay beside a wound; or the grid on which an insole is drawn round."""
    paper = {"letter": "Letter", "a3": "A3"}.get(request.GET.get("paper", ""), "A4")
    if request.GET.get("of") == "insole":
        drawing, name = grid_drawing(paper), "insole-grid"
    else:
        paper = "A4" if paper == "A3" else paper
        drawing, name = reference_drawing(paper), "reference-frames"
    answer = HttpResponse(write_pdf([drawing]), content_type="application/pdf")
    answer["Content-Disposition"] = f'inline; filename="{name}-{paper.lower()}.pdf"'
    return answer


def _purpose(request: ClinicRequest) -> str:
    target = request.GET.get("for", "")
    return target if target in PURPOSES else ""


def _with(url: str, purpose: str) -> str:
    return f"{url}?{urlencode({'for': purpose})}" if purpose else url


def _first_marks(request: ClinicRequest, photo: Photo) -> dict[str, Any]:
    """The corners as they are clear in the picture, else a rectangle in its middle to drag from."""
    if request.method == "POST":
        return {}
    reference = "sheet" if request.GET.get("reference") == "sheet" else "card"
    try:
        guess = scale_guess(photo, reference)
    except Refused:
        guess = None
    w, h = photo.width_px, photo.height_px
    marks = guess or ((0.3 * w, 0.35 * h), (0.7 * w, 0.35 * h), (0.7 * w, 0.65 * h), (0.3 * w, 0.65 * h))
    return {
        "reference": reference,
        "marks": tuple((round(x, 1), round(y, 1)) for x, y in marks),
        "guessed": guess is not None,
    }


def _common(photo: Photo) -> dict[str, Any]:
    person = photo.lesion.limb.person
    return {
        "photo": photo,
        "lesion": photo.lesion,
        "person": person,
        "bar": person_bar(person),
        "here": "people",
    }


def _hand_on(request: ClinicRequest, trace: Trace, purpose: str) -> str:
    """Where a kept trace goes: to the visit's form, to the insole, to the next repeat, or to the lesion."""
    photo = trace.scale.photo
    lesion = photo.lesion
    if photo.subject == PhotoSubject.INSOLE:
        return reverse("imprint_place", args=[trace.scale_id])
    if purpose == "visit":
        return (
            f"{reverse('visit_new', args=[lesion.limb.person_id])}?trace={trace.pk}#lesion-{lesion.pk}-title"
        )
    if purpose == "correction" and photo.visit_id is not None:
        corrected = reverse("visit_correct", args=[photo.visit_id])
        return f"{corrected}?trace={trace.pk}#lesion-{lesion.pk}-title"
    words = f"Traced: {trace.area_mm2 / 100:.2f} cm², {trace.length_mm:.1f} × {trace.width_mm:.1f} mm."
    messages.success(request, f"{words} It counts in the curve once a visit uses it.")
    return reverse("repeatability") if purpose == "repeat" else reverse("lesion", args=[lesion.pk])
