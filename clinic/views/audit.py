"""The manager's audit: figures, the cases behind each, their export, and the chain of changes."""

from __future__ import annotations

from datetime import timedelta
from itertools import islice
from typing import Any
from urllib.parse import urlencode

from django.core.paginator import Paginator
from django.http import Http404, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from clinic.access import ClinicRequest, may, site_or_404
from clinic.forms.audit import AuditForm, ChangesForm
from clinic.models import Site
from clinic.selectors import audit_changes as chain
from clinic.selectors.audit import FAMILIES, Figure, audit_report
from clinic.selectors.audit_cases import OUTCOMES, AuditFilter, Case, prescribers
from clinic.services.audit import faults
from clinic.services.exports import export_csv

A_PAGE = 50
#: A chain no longer than this is checked each time its first page is opened; a longer one when asked.
CHECKED_AT_ONCE = 2000
FAULTS_SHOWN = 20
NOTICE = "Supports licensed judgement; not a diagnosis. Follow your local protocol."
HEAD = (
    "record_number", "foot", "lesion", "place", "device_class", "prescribed_on", "fitted_on", "stopped_on",
    "first_offered", "agreement", "departure_reason", "outcome", "days_to_first_device", "edition", "notice",
)  # fmt: skip


def _asked(request: ClinicRequest) -> tuple[Site, AuditForm, AuditFilter | None, dict[str, Any]]:
    """The filter of the page, and its values as the links carry them."""
    site = site_or_404(request.user, request)  # type: ignore[arg-type]
    today = timezone.localdate()
    given = {"since": (today - timedelta(days=365)).isoformat(), "until": today.isoformat()}
    given |= {name: request.GET[name] for name in AuditForm.base_fields if name in request.GET}
    form = AuditForm(given, prescribers=prescribers(site))
    asked = AuditFilter(site=site, **form.cleaned_data) if form.is_valid() else None
    kept = {"site": site.pk, **{name: value for name, value in given.items() if value}}
    return site, form, asked, kept


@may("audit")
def audit(request: ClinicRequest) -> HttpResponse:
    site, form, asked, kept = _asked(request)
    report = audit_report(asked, timezone.localdate()) if asked else None
    return render(
        request,
        "clinic/audit/home.html",
        {
            "site": site,
            "form": form,
            "report": report,
            "outcome_heads": list(OUTCOMES.values()),
            "query": urlencode(kept),
            "here": "audit",
        },
        status=200 if asked else 422,
    )


def _figure(request: ClinicRequest) -> tuple[Site, Figure, dict[str, Any]]:
    site, form, asked, kept = _asked(request)
    if asked is None:
        raise Http404(f"no such filter: {form.errors.as_text()}")
    key = request.GET.get("figure", "all")
    figure = audit_report(asked, timezone.localdate()).figures.get(key)
    if figure is None:
        if key.split(".")[0] not in FAMILIES:
            raise Http404("no such figure")
        # A reason or a class without a case in this period has no figure: it counts none.
        figure = Figure("none", "No case in this period", ())
    return site, figure, kept


@may("audit")
def audit_cases(request: ClinicRequest) -> HttpResponse:
    site, figure, kept = _figure(request)
    page = Paginator(figure.cases, A_PAGE).get_page(request.GET.get("page"))
    return render(
        request,
        "clinic/audit/cases.html",
        {
            "site": site,
            "figure": figure,
            "page": page,
            "query": urlencode(kept),
            "figure_query": urlencode({**kept, "figure": figure.key}),
            "here": "audit",
        },
    )


def _csv_row(case: Case, *, numbers: bool) -> tuple[Any, ...]:
    """One case without names or free text; the record number only for the site's own manager."""
    p, lesion = case.prescription, case.lesion
    return (
        case.person.record_number if numbers else None,
        (lesion.limb if lesion else p.limb).side,
        lesion.label if lesion else None,
        lesion.place if lesion else None,
        p.device_class,
        p.prescribed_on,
        p.fitted_on,
        p.stopped_on,
        p.first_offered,
        case.agreement,
        p.departure_reason,
        case.outcome,
        case.days,
        p.edition,
        NOTICE,
    )


@may("audit")
def audit_csv(request: ClinicRequest) -> HttpResponse:
    site, figure, kept = _figure(request)
    own = request.user.role == "manager" and site.pk in request.user.site_ids  # type: ignore[union-attr]
    filters = {name: value for name, value in kept.items() if name != "site"}
    if "prescriber" in filters:
        # The chain outlives the list of users: it keeps the name, not a number.
        filters["prescriber"] = str(prescribers(site).get(pk=filters["prescriber"]))
    text = export_csv(
        by=request.user,  # type: ignore[arg-type]
        site=site,
        what=figure.words,
        head=HEAD,
        rows=[_csv_row(case, numbers=own) for case in figure.cases],
        **filters,
    )
    response = HttpResponse(text, content_type="text/csv; charset=utf-8")
    name = f"audit-{figure.key}-{timezone.localdate().isoformat()}.csv".replace("_", "-")
    response["Content-Disposition"] = f'attachment; filename="{name}"'
    return response


@may("audit")
def audit_changes(request: ClinicRequest) -> HttpResponse:
    site = site_or_404(request.user, request)  # type: ignore[arg-type]
    form = ChangesForm(
        {name: request.GET.get(name, "") for name in ChangesForm.base_fields},
        actors=chain.actors(site),
        verbs=chain.verbs(site),
    )
    valid = form.is_valid()
    asked = form.cleaned_data if valid else {}
    page = chain.changes(site, **asked) if valid else chain.Changes((), None)
    length = chain.chain_length(site)
    check = "check" in request.GET or (length <= CHECKED_AT_ONCE and not asked.get("before"))
    kept = {"site": site.pk, **{k: v for k, v in asked.items() if v and k != "before"}}
    return render(
        request,
        "clinic/audit/changes.html",
        {
            "site": site,
            "form": form,
            "page": page,
            "before": asked.get("before"),
            "length": length,
            "checked": check,
            "faults": list(islice(faults(site.pk), FAULTS_SHOWN)) if check else [],
            "query": urlencode(kept),
            "here": "audit",
        },
        status=200 if valid else 422,
    )
