"""A lesion: its page, its chart, and what happened to it."""

import hashlib
from datetime import date

from django.contrib import messages
from django.core.cache import cache
from django.http import HttpResponse, HttpResponseNotModified
from django.shortcuts import redirect, render
from django.utils import timezone

from clinic.access import ClinicRequest, may, visible_or_404
from clinic.forms.events import EventForm
from clinic.forms.refusals import show
from clinic.models import Lesion
from clinic.selectors.grades import grades_of
from clinic.selectors.healing import LesionHealing, healing_of
from clinic.selectors.lesions_page import lesion_page, missed_days
from clinic.selectors.people import person_bar
from clinic.services.errors import Refused
from clinic.services.events import event_add

CHART_SECONDS = 24 * 3600


def _lesion(request: ClinicRequest, pk: int) -> Lesion:
    return visible_or_404(
        Lesion.objects.select_related("limb__person__site", "episode", "recurs_of__limb"), request.user, pk=pk
    )


@may("see_cases")
def lesion(request: ClinicRequest, lesion: int) -> HttpResponse:
    found = _lesion(request, lesion)
    page = lesion_page(found)
    return render(
        request,
        "clinic/lesions/detail.html",
        {
            "lesion": found,
            "page": page,
            "grades": grades_of(found.limb, [found], timezone.localdate())[found.pk] if found.is_open else (),
            "chart_key": chart_key(page.healing, missed_days(found))[:12],
            "bar": person_bar(found.limb.person),
            "here": "people",
        },
    )


def chart_key(healing: LesionHealing, missed: list[date]) -> str:
    """The chart's content in one hash: the cache's key and the ETag."""
    told = (healing.areas, healing.marks, missed, healing.lesion.label)
    return hashlib.sha256(repr(told).encode()).hexdigest()


@may("see_cases")
def lesion_chart(request: ClinicRequest, lesion: int) -> HttpResponse:
    found = _lesion(request, lesion)
    healing = healing_of(found)
    missed = missed_days(found)
    key = chart_key(healing, missed)
    etag = f'"{key}"'
    if request.headers.get("If-None-Match") == etag:
        return HttpResponseNotModified()
    svg = cache.get(f"chart:{key}")
    if svg is None:
        svg = _draw(healing, missed)
        cache.set(f"chart:{key}", svg, CHART_SECONDS)
    response = HttpResponse(svg, content_type="image/svg+xml")
    response["ETag"] = etag
    # Kept by this browser only, and asked again each time: the ETag answers.
    response["Cache-Control"] = "private, no-cache"
    return response


def _draw(healing: LesionHealing, missed: list[date]) -> bytes:
    # matplotlib takes a second to import; only a process that draws pays for it.
    from clinic.charts.strip import ChartEvent
    from clinic.charts.trajectory import trajectory_svg

    if not healing.areas:
        return (
            b'<svg xmlns="http://www.w3.org/2000/svg" width="900" height="60" viewBox="0 0 900 60">'
            b'<text x="16" y="36" font-family="sans-serif" font-size="16" fill="#51605A">'
            b"No area measured yet: the curve starts with the first measured visit.</text></svg>"
        )
    kinds = {"device": "device", "device_off": "device", "plan": "plan"}
    return trajectory_svg(
        healing.areas,
        events=[ChartEvent(m.day, m.words, kinds.get(m.kind, "other")) for m in healing.marks],
        missed=missed,
        forecast=healing.report.forecast if healing.report and healing.lesion.is_open else None,
        title=f"Area of lesion {healing.lesion.label} over time",
    )


@may("log_visits")
def event_new(request: ClinicRequest, lesion: int) -> HttpResponse:
    found = _lesion(request, lesion)
    form = EventForm(request.POST or None, initial={"happened_on": timezone.localdate()})
    if request.method == "POST" and form.is_valid():
        try:
            event_add(by=request.user, lesion=found, **form.cleaned_data)
        except Refused as refused:
            show(form, refused)
        else:
            messages.success(request, "The event stands on the curve.")
            return redirect("lesion", lesion=found.pk)
    return render(
        request,
        "clinic/lesions/event.html",
        {"form": form, "lesion": found, "bar": person_bar(found.limb.person), "here": "people"},
        status=422 if form.errors else 200,
    )
