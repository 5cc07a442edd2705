"""Healing curves as pictures: one lesion, two compared, all of a person. Each page carries the same
numbers.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from datetime import date
from functools import cache
from importlib.metadata import version
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.cache import cache as pictures
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseNotModified
from django.shortcuts import render

from clinic.access import ClinicRequest, may, visible_or_404
from clinic.charts.inks import in_dark
from clinic.curves.forms import CompareForm
from clinic.curves.reads.comparing import Choice, choices_for, compared_with
from clinic.curves.reads.healing import LesionHealing, healing_of
from clinic.curves.reads.missed import missed_days
from clinic.curves.reads.person_curves import PANELS, person_curves
from clinic.models import Lesion, Person
from clinic.people.reads.people import person_bar

__all__ = ["chart_answer", "chart_key", "chart_switches", "content_key", "lesion_of"]

CHART_SECONDS = 24 * 3600
#: A picture follows from what it tells, from this program's code and from these libraries.
DRAWING_LIBRARIES = ("matplotlib", "numpy", "scipy")
#: What a curve can show -> its words: (quantity, spacing) in the address.
SWITCHES: dict[tuple[str, str], str] = {
    ("area", "linear"): "Area",
    ("reduction", "linear"): "Reduction",
    ("area", "log"): "Area by factors",
}


def lesion_of(request: ClinicRequest, pk: int) -> Lesion:
    """A lesion the user may see, with what its pages name."""
    return visible_or_404(
        Lesion.objects.select_related("limb__person__site", "episode", "recurs_of__limb"), request.user, pk=pk
    )


def _asked(request: HttpRequest) -> tuple[str, str]:
    options = (request.GET.get("show", "area"), request.GET.get("scale", "linear"))
    if options not in SWITCHES:
        raise Http404("no such axis")
    return options


def chart_switches(request: HttpRequest) -> tuple[dict[str, str], list[dict[str, Any]]]:
    """The axis asked for, and the switches of the page with the present one marked."""
    options = _asked(request)
    return {"show": options[0], "scale": options[1]}, [
        {"show": show, "scale": scale, "words": words, "current": (show, scale) == options}
        for (show, scale), words in SWITCHES.items()
    ]


@cache
def code_hash(folder: Path) -> str:
    """Hash of all code under a folder and of the libraries that draw."""
    drawn = hashlib.sha256(repr([version(name) for name in DRAWING_LIBRARIES]).encode())
    for path in sorted(folder.rglob("*.py")):
        drawn.update(path.read_bytes())
    return drawn.hexdigest()


def content_key(*drawn: object) -> str:
    """Hash of what a picture tells, and of how pictures are drawn now."""
    return hashlib.sha256(repr((code_hash(settings.BASE_DIR / "clinic"), *drawn)).encode()).hexdigest()


def chart_key(healing: LesionHealing, missed: list[date], axis: tuple[str, str]) -> str:
    """The chart's content in one hash: the cache's key and the ETag."""
    outlook = None if healing.report is None else healing.report.forecast
    return content_key(
        healing.areas, healing.marks, missed, healing.lesion.label, healing.lesion.state, axis, outlook
    )


def chart_answer(request: HttpRequest, key: str, draw: Callable[[], bytes]) -> HttpResponse:
    """A picture by its key: not sent again to a browser that has it, drawn once a day at most."""
    dark = request.GET.get("scheme") == "dark"
    etag = f'"{key}-dark"' if dark else f'"{key}"'
    if request.headers.get("If-None-Match") == etag:
        return HttpResponseNotModified()
    svg = pictures.get(f"chart:{key}")
    if svg is None:
        svg = draw()
        pictures.set(f"chart:{key}", svg, CHART_SECONDS)
    if dark:
        svg = in_dark(svg)
    response = HttpResponse(svg, content_type="image/svg+xml")
    response["ETag"] = etag
    # Kept by this browser only, and asked again each time: the ETag answers.
    response["Cache-Control"] = "private, no-cache"
    return response


def _words(sentence: str) -> bytes:
    return (
        '<svg xmlns="http://www.w3.org/2000/svg" width="900" height="60" viewBox="0 0 900 60">'
        f'<text x="16" y="36" font-family="sans-serif" font-size="16" fill="#51605A">{sentence}</text></svg>'
    ).encode()


@may("see_cases")
def lesion_chart(request: ClinicRequest, lesion: int) -> HttpResponse:
    found = lesion_of(request, lesion)
    axis = _asked(request)
    healing, missed = healing_of(found), missed_days(found)
    return chart_answer(request, chart_key(healing, missed, axis), lambda: _trajectory(healing, missed, axis))


def _trajectory(healing: LesionHealing, missed: list[date], axis: tuple[str, str]) -> bytes:
    # matplotlib takes a second to import; only a process that draws pays for it.
    from clinic.charts.scale import Quantity, Spacing
    from clinic.charts.strip import ChartEvent
    from clinic.charts.trajectory import trajectory_svg

    if healing.report is None:
        return _words("No area measured yet: the curve starts with the first measured visit.")
    if axis[0] == Quantity.REDUCTION and healing.report.run.first.area == 0:
        return _words("The first area is 0 cm²: a reduction needs one above 0.")
    kinds = {"device": "device", "device_off": "device", "plan": "plan"}
    return trajectory_svg(
        healing.areas,
        events=[ChartEvent(m.day, m.words, kinds.get(m.kind, "other")) for m in healing.marks],
        missed=missed,
        forecast=healing.report.forecast if healing.lesion.is_open else None,
        title=f"{SWITCHES[axis]} of ulcer {healing.lesion.label} over time",
        quantity=Quantity(axis[0]),
        spacing=Spacing(axis[1]),
    )


@may("see_cases")
def lesion_compare(request: ClinicRequest, lesion: int) -> HttpResponse:
    found = lesion_of(request, lesion)
    choices = choices_for(found)
    given = request.GET if "against" in request.GET else None
    default = choices.default
    form = CompareForm(given, choices=choices, initial={"against": default.value if default else None})
    if given is None:
        choice = default
    else:
        choice = _chosen(choices.all, form.cleaned_data["against"]) if form.is_valid() else None
    return render(
        request,
        "curves/compare.html",
        {
            "lesion": found,
            "choices": choices,
            "form": form,
            "compared": compared_with(choice) if choice else None,
            "bar": person_bar(found.limb.person),
            "here": "people",
        },
        status=422 if form.errors else 200,
    )


def _chosen(choices: tuple[Choice, ...], value: str) -> Choice | None:
    return next((choice for choice in choices if choice.value == value), None)


@may("see_cases")
def lesion_compare_chart(request: ClinicRequest, lesion: int) -> HttpResponse:
    found = lesion_of(request, lesion)
    choice = _chosen(choices_for(found).all, request.GET.get("against", ""))
    compared = compared_with(choice) if choice else None
    if choice is None or compared is None or compared.found is None:
        raise Http404("nothing to compare")
    both, names = compared.found, choice.names

    def draw() -> bytes:
        from clinic.charts.compared import compared_svg

        return compared_svg(both, names)

    return chart_answer(request, content_key("compared", names, choice.first, choice.second), draw)


def _person(request: ClinicRequest, pk: int) -> Person:
    return visible_or_404(Person.objects.select_related("site"), request.user, pk=pk)


@may("see_cases")
def person_curves_page(request: ClinicRequest, person: int) -> HttpResponse:
    found = _person(request, person)
    curves = person_curves(found)
    return render(
        request,
        "curves/people.html",
        {
            "person": found,
            "curves": curves,
            "left_out": max(0, len(curves) - PANELS),
            "panels": PANELS,
            "bar": person_bar(found),
            "here": "people",
        },
    )


@may("see_cases")
def person_curves_chart(request: ClinicRequest, person: int) -> HttpResponse:
    curves = person_curves(_person(request, person))[:PANELS]
    drawn = [(c.lesion.label, c.lesion.where, c.words, c.areas, _changes(c)) for c in curves]

    def draw() -> bytes:
        from clinic.charts.multiples import Panel, multiples_svg

        if not drawn:
            return _words("No area measured yet: the curves start with the first measured visit.")
        return multiples_svg(
            [Panel(f"{label}: {where}", words, areas, days) for label, where, words, areas, days in drawn]
        )

    return chart_answer(request, content_key("person", drawn), draw)


def _changes(healing: LesionHealing) -> tuple[date, ...]:
    return tuple(mark.day for mark in healing.marks if mark.breaks)
