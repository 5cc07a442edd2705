"""All outlines of a lesion laid over each other, and how well this clinic measures the same wound again."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import render

from clinic.access import ClinicRequest, may, visible_or_404
from clinic.capture.reads.repeat import repeatability_of
from clinic.capture.reads.traces import outlines_of
from clinic.healing.repeatability import LEAST_PAIRS, Agreement, Pair
from clinic.models import Lesion
from clinic.people.reads.people import person_bar

PLOT = (560.0, 220.0)  # [px] of the difference plot


@may("see_cases")
def lesion_outlines(request: ClinicRequest, lesion: int) -> HttpResponse:
    found = visible_or_404(Lesion.objects.select_related("limb__person__site"), request.user, pk=lesion)
    days = outlines_of(found)
    reach = max([2.0, *(max(abs(x), abs(y)) for day in days for ring in day.rings for x, y in ring)]) * 1.15
    context = {
        "lesion": found,
        "days": days,
        "newest": days[::-1],
        "view_box": f"{-reach:.2f} {-reach:.2f} {2 * reach:.2f} {2 * reach:.2f}",
        "width": 2 * reach,
        "bar": person_bar(found.limb.person),
        "here": "people",
    }
    return render(request, "capture/outlines.html", context)


@may("see_cases")
def repeatability(request: ClinicRequest) -> HttpResponse:
    found = repeatability_of(request.user)
    kinds = [
        (title, agreed, _rows(pairs), _lines(agreed))
        for title, agreed, pairs in (
            ("Within one observer", found.within, found.within_pairs),
            ("Between two observers", found.between, found.between_pairs),
        )
    ]
    context = {"kinds": kinds, "waiting": found.waiting, "least": LEAST_PAIRS, "here": "review"}
    return render(request, "capture/repeatability.html", context)


def _height(percent: float) -> float:
    """Place of a difference in the plot; beyond ± 40 % it stands on the edge. [px]"""
    return PLOT[1] / 2 * (1 - max(-40.0, min(40.0, percent)) / 40.0)


def _lines(found: Agreement | None) -> list[tuple[str, float, str]]:
    """Mean difference and limits of agreement: kind, place in the plot, words."""
    if found is None:
        return []
    wanted = (("limit", found.high), ("bias", found.bias), ("limit", found.low))
    return [(kind, _height(at), f"{'−' if at < 0 else '+'}{abs(at):.1f} %") for kind, at in wanted]


def _rows(pairs: tuple[Pair, ...]) -> list[dict[str, float]]:
    """Mean and difference of each pair, and its place in the plot (± 40 % and 0 to the largest mean)."""
    largest = max([1.0, *((pair.first + pair.second) / 2 for pair in pairs)])
    rows = []
    for pair in pairs:
        mean = (pair.first + pair.second) / 2
        percent = 100.0 * (pair.second - pair.first) / mean
        rows.append(
            {
                "first": pair.first / 100,
                "second": pair.second / 100,
                "percent": percent,
                "x": 10 + (PLOT[0] - 20) * mean / largest,
                "y": _height(percent),
            }
        )
    return rows
