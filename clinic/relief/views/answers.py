"""Stateless answers about a plan that the caller hands over: a preview, and the sheets to print and cut.

Nothing here knows who may see a plan; the caller has decided that before.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render

from offload.core.sheets.writers.dxf import write_dxf
from offload.core.sheets.writers.pdf import write_pdf
from offload.core.sheets.writers.svg import write_svg
from offload.models import ReliefPlan
from offload.pictures.plan import InsolePicture, PlanPicture
from offload.plans.keeping import cutting_sheet, plan_drawings

__all__ = ["PAPER_OF", "preview", "sheet_dxf", "sheet_pdf", "sheet_svg"]

#: How a paper is called in an address, and what it is.
PAPER_OF = {"a4": "A4", "a3": "A3", "letter": "Letter"}


def preview(
    request: HttpRequest,
    *,
    picture: PlanPicture | None,
    insole: InsolePicture,
    faults: list[str],
    live: bool = False,
    extra: dict[str, Any] | None = None,
) -> HttpResponse:
    """The fragment that the bench swaps in: drawing, section, checks and figures, or what is wrong. `live`:
    only what is looked at while a lesion is dragged.
    """
    context = {"picture": picture, "insole": insole, "faults": faults, **(extra or {})}
    template = "relief/plan/_live.html" if live else "relief/plan/_preview.html"
    response = render(request, template, context, status=422 if faults else 200)
    response["Cache-Control"] = "private, no-store"
    return response


def sheet_pdf(plan: ReliefPlan, paper: str, dangers: Sequence[str] = ()) -> HttpResponse:
    """The 1:1 template on one paper; an unknown paper is not there."""
    if paper not in PAPER_OF:
        raise Http404("no such paper")
    body = write_pdf(plan_drawings(plan, PAPER_OF[paper], dangers))
    return _file(body, "application/pdf", f"{plan.code}-{paper}.pdf")


def sheet_svg(plan: ReliefPlan, dangers: Sequence[str] = ()) -> HttpResponse:
    """All cut layers at true size as SVG in mm."""
    return _file(write_svg(cutting_sheet(plan, dangers)), "image/svg+xml", f"{plan.code}.svg")


def sheet_dxf(plan: ReliefPlan, dangers: Sequence[str] = ()) -> HttpResponse:
    """All cut layers at true size as DXF in mm, for a cutting table."""
    return _file(write_dxf(cutting_sheet(plan, dangers)), "image/vnd.dxf", f"{plan.code}.dxf")


def _file(body: bytes, content_type: str, name: str) -> HttpResponse:
    # The name holds the sheet code only, never a person.
    return HttpResponse(
        body,
        content_type=content_type,
        headers={
            "Content-Disposition": f'attachment; filename="{name}"',
            "Cache-Control": "private, no-store",
        },
    )
