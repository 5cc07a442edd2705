"""Exports of the audit: cases as CSV or JSON, figures as JSON or PDF, and reports kept to be run again."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpResponse, HttpResponseNotAllowed
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone

from clinic.access import ClinicRequest, may, note_listed, visible, visible_or_404
from clinic.audit.forms.saved_reports import SavedReportForm
from clinic.audit.reads.cases import AuditFilter, prescribers
from clinic.audit.reads.export import HEAD, numbered_rows, report_value
from clinic.audit.reads.figures import spec_of
from clinic.audit.views.audit import figure_asked
from clinic.audit.views.scope import Scope, scope_of
from clinic.audit.writes.report_run import run
from clinic.audit.writes.saved_reports import report_save, report_stop
from clinic.models import SavedReport
from clinic.record.errors import Refused
from clinic.record.forms.refusals import show
from clinic.record.reads.deidentified import METHOD, deidentified
from clinic.record.writes.exports import export_bytes, export_csv, export_json

TYPES = {"csv": "text/csv; charset=utf-8", "json": "application/json", "pdf": "application/pdf"}
DEIDENTIFIED = "deidentified"
CUT_HEAD = (
    "when",
    *(
        name
        for name in HEAD
        if name not in ("record_number", "lesion", "day", "prescribed_on", "fitted_on", "stopped_on")
    ),
)


def _file(body: str | bytes, form: str, name: str) -> HttpResponse:
    response = HttpResponse(body, content_type=TYPES[form])
    stem = f"audit-{name}-{timezone.localdate().isoformat()}".replace("_", "-").replace(".", "-")
    response["Content-Disposition"] = f'attachment; filename="{stem}.{form}"'
    return response


def _filters(request: ClinicRequest, scope: Scope) -> dict[str, Any]:
    filters: dict[str, Any] = {name: value for name, value in scope.params.items() if name != "site"}
    if "prescriber" in filters:
        # The chain outlives the list of users: it keeps the name, not a number.
        filters["prescriber"] = str(prescribers(scope.sites).get(pk=filters["prescriber"]))
    if scope.network:
        filters["sites"] = len(scope.sites)
    if DEIDENTIFIED in request.GET:
        filters["deidentified"] = True
    return filters


def _rows(
    request: ClinicRequest, scope: Scope, wanted: AuditFilter, key: str
) -> tuple[str, list[dict[str, Any]]]:
    spec = spec_of(key)
    if spec is None:
        raise Http404("no such figure")
    cases = list(numbered_rows(spec, wanted, timezone.localdate()))
    note_listed(request.user, {person for person, _ in cases})
    rows = [row for _, row in cases]
    return spec.words, deidentified(rows) if DEIDENTIFIED in request.GET else rows


@may("audit")
def audit_csv(request: ClinicRequest) -> HttpResponse:
    scope, spec = figure_asked(request)
    if scope.wanted is None:
        raise Http404("no such filter")
    words, rows = _rows(request, scope, scope.wanted, spec.key)
    head = CUT_HEAD if DEIDENTIFIED in request.GET else HEAD
    text = export_csv(
        by=request.user,
        site=scope.site,
        what=words,
        head=head,
        rows=([row.get(name) for name in head] for row in rows),
        **_filters(request, scope),
    )
    return _file(text, "csv", spec.key)


@may("audit")
def audit_json(request: ClinicRequest) -> HttpResponse:
    scope, spec = figure_asked(request)
    if scope.wanted is None:
        raise Http404("no such filter")
    words, rows = _rows(request, scope, scope.wanted, spec.key)
    value = {
        "figure": spec.key,
        "words": words,
        "rows": rows,
        "method": METHOD if DEIDENTIFIED in request.GET else None,
    }
    text = export_json(
        by=request.user, site=scope.site, what=words, value=value, rows=len(rows), **_filters(request, scope)
    )
    return _file(text, "json", spec.key)


def _report(request: ClinicRequest, form: str) -> HttpResponse:
    scope = scope_of(request)
    if scope.wanted is None:
        raise Http404(f"no such filter: {scope.form.errors.as_text()}")
    hide = DEIDENTIFIED in request.GET
    value = report_value(scope.wanted, timezone.localdate(), hide_small=hide)
    if form == "json":
        value["method"] = METHOD if hide else None
        text = export_json(
            by=request.user,
            site=scope.site,
            what="the figures of the audit",
            value=value,
            rows=len(value["figures"]),
            **_filters(request, scope),
        )
        return _file(text, "json", "figures")
    from clinic.audit.prints import report_pdf

    body = export_bytes(
        by=request.user,
        site=scope.site,
        what="the figures of the audit",
        form="pdf",
        body=report_pdf(value, METHOD if hide else ""),
        **_filters(request, scope),
    )
    return _file(body, "pdf", "figures")


@may("audit")
def audit_report_json(request: ClinicRequest) -> HttpResponse:
    return _report(request, "json")


@may("audit")
def audit_report_pdf(request: ClinicRequest) -> HttpResponse:
    return _report(request, "pdf")


@may("audit")
def audit_reports(request: ClinicRequest) -> HttpResponse:
    scope = scope_of(request)
    form = SavedReportForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            made = report_save(by=request.user, site=scope.site, **form.cleaned_data)
        except Refused as refused:
            show(form, refused)
        else:
            messages.success(request, f"{made.name} is kept.")
            return redirect(f"{request.path}?site={scope.site.pk}")
    return render(
        request,
        "audit/reports.html",
        {
            **scope.context(),
            "form": form,
            "reports": visible(SavedReport, request.user).filter(site=scope.site, stopped=False),
            "method": METHOD,
        },
        status=422 if form.errors else 200,
    )


@may("audit")
def audit_report_run(request: ClinicRequest, report: int) -> HttpResponse:
    saved = visible_or_404(SavedReport.objects.select_related("site"), request.user, pk=report)
    today: date = timezone.localdate()
    wanted = AuditFilter((saved.site,), today - timedelta(days=saved.days), today, saved.device_class)
    body, form = run(by=request.user, report=saved, wanted=wanted, today=today)
    return _file(body, form, f"report-{saved.pk}")


@may("audit")
def audit_report_stop(request: ClinicRequest, report: int) -> HttpResponse:
    saved = visible_or_404(SavedReport.objects.select_related("site"), request.user, pk=report)
    if request.method != "POST":
        return HttpResponseNotAllowed(["POST"])
    report_stop(by=request.user, report=saved, expected_version=saved.version)
    messages.success(request, f"{saved.name} is no longer run.")
    return redirect(f"{reverse('audit_reports')}?site={saved.site_id}")
