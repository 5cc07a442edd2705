"""Completeness: what the record owes, who can mend it, and where."""

from __future__ import annotations

from django.http import Http404, HttpResponse
from django.shortcuts import render
from django.urls import resolve, reverse
from django.utils import timezone

from clinic.access import ClinicRequest, can, may, note_listed
from clinic.audit.reads.completeness import GAPS, GapRow, gap_counts, gap_page
from clinic.audit.views.scope import scope_of
from clinic.config.replica import from_replica


@may("see_completeness")
@from_replica
def audit_completeness(request: ClinicRequest) -> HttpResponse:
    scope = scope_of(request)
    rows = gap_counts([site.pk for site in scope.sites], timezone.localdate())
    return render(request, "audit/completeness.html", {**scope.context(), "rows": rows})


def _url(row: GapRow) -> str:
    return reverse(row.url, args=[row.argument])


@may("see_completeness")
@from_replica
def audit_gap(request: ClinicRequest) -> HttpResponse:
    scope = scope_of(request)
    found = GAPS.get(request.GET.get("gap", "weight"))
    after = request.GET.get("after", "")
    if found is None or (after and not (after.isascii() and after.isdigit() and len(after) < 19)):
        raise Http404("no such gap")
    page = gap_page(found, [s.pk for s in scope.sites], timezone.localdate(), int(after) if after else None)
    note_listed(request.user, page)
    # Who may not mend it is led to the person instead, never to a refusal.
    mends = bool(page.rows) and can(
        request.user,
        resolve(_url(page.rows[0])).func.ability,  # type: ignore[attr-defined]
    )
    rows = [(row, _url(row) if mends else reverse("person", args=[row.person.pk])) for row in page.rows]
    return render(
        request,
        "audit/gap.html",
        {
            **scope.context(),
            "gap_query": f"{scope.query}&gap={found.key}",
            "page": page,
            "rows": rows,
            "after": after,
        },
    )
