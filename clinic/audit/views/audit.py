"""The manager's audit: figures, the cases behind each, and the chain of changes."""

from __future__ import annotations

from datetime import timedelta
from itertools import islice
from urllib.parse import urlencode

from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone

from clinic.access import ClinicRequest, may, note_listed, site_named, site_or_404, visible_or_404
from clinic.audit.forms.audit import CaseCursor, ChangesForm
from clinic.audit.reads.case_sheet import case_sheet as sheet_of
from clinic.audit.reads.cases import OUTCOMES, AuditFilter
from clinic.audit.reads.definitions import DEFINITIONS
from clinic.audit.reads.figures import Spec, spec_of
from clinic.audit.reads.funnel import ENOUGH, prescriber_rows, site_funnels
from clinic.audit.reads.lists import case_page
from clinic.audit.reads.page import audit_report
from clinic.audit.views.scope import Scope, scope_of
from clinic.config.replica import from_replica
from clinic.models import Prescription
from clinic.people.reads.left_open import ends_to_settle, restricted_people
from clinic.record.reads import changes as chain
from clinic.record.sealed_words import seal, unseal
from clinic.record.writes.audit import faults

#: A chain no longer than this is checked each time its first page is opened; a longer one when asked.
CHECKED_AT_ONCE = 2000
FAULTS_SHOWN = 20


@may("audit")
@from_replica
def audit(request: ClinicRequest) -> HttpResponse:
    scope = scope_of(request)
    today = timezone.localdate()
    report = audit_report(scope.wanted, today) if scope.wanted else None
    return render(
        request,
        "audit/home.html",
        {
            **scope.context(),
            "report": report,
            "left_open": ends_to_settle(scope.sites),
            "restricted_open": len(restricted_people(scope.sites)),
            "outcome_heads": list(OUTCOMES.values()),
            "definitions": DEFINITIONS,
            "funnels": site_funnels(scope.wanted, today) if scope.wanted and scope.network else (),
            "prescribers": prescriber_rows(scope.wanted) if scope.wanted and not scope.network else (),
        },
        status=200 if report else 422,
    )


def figure_asked(request: ClinicRequest) -> tuple[Scope, Spec]:
    """The figure of the address, or 404."""
    scope = scope_of(request)
    if scope.wanted is None:
        raise Http404(f"no such filter: {scope.form.errors.as_text()}")
    spec = spec_of(request.GET.get("figure", "all"))
    if spec is None:
        raise Http404("no such figure")
    return scope, spec


@may("audit")
@from_replica
def audit_cases(request: ClinicRequest) -> HttpResponse:
    scope, spec = figure_asked(request)
    cursor = CaseCursor(request.GET)
    if scope.wanted is None or not cursor.is_valid():
        raise Http404("no such page")
    today = timezone.localdate()
    before = cursor.cleaned_data["before"]
    page = case_page(spec, scope.wanted, today, before)
    more = bool(before or page.next_before)
    note_listed(request.user, page)
    return render(
        request,
        "audit/cases.html",
        {
            **scope.context(),
            "figure": spec,
            "page": page,
            # A list of one page needs no second count.
            "count": spec.rows(scope.wanted, today).count() if more else len(page.rows),
            "before": before,
            "figure_query": urlencode({**scope.params, "figure": spec.key}),
        },
    )


@may("audit")
def audit_changes(request: ClinicRequest) -> HttpResponse:
    sent = request.POST if request.method == "POST" else request.GET
    site = site_named(request.user, sent.get("site", "")) or site_or_404(request.user, request)
    data = {name: sent.get(name, "") for name in ChangesForm.base_fields}
    if request.method != "POST":
        # A record number travels in the body; the address holds it unreadable.
        data["person"] = unseal(data["person"])
    form = ChangesForm(
        data,
        actors=chain.actors(site),
        verbs=chain.verbs(site),
    )
    valid = form.is_valid()
    wanted = form.cleaned_data if valid else {}
    params = {"site": site.pk, **{k: v for k, v in wanted.items() if v and k not in ("before", "person")}}
    if wanted.get("person"):
        params["person"] = seal(wanted["person"])
    if valid and request.method == "POST":
        return redirect(f"{reverse('audit_changes')}?{urlencode(params)}")
    page = chain.changes(site, **wanted) if valid else chain.Changes((), None)
    note_listed(request.user, page)
    length = chain.chain_length(site)
    check = "check" in request.GET or (length <= CHECKED_AT_ONCE and not wanted.get("before"))
    return render(
        request,
        "audit/changes.html",
        {
            "site": site,
            "form": form,
            "page": page,
            "before": wanted.get("before"),
            "length": length,
            "checked": check,
            "faults": list(islice(faults(site.pk), FAULTS_SHOWN)) if check else [],
            "query": urlencode(params),
            "here": "audit",
        },
        status=200 if valid else 422,
    )


@may("audit")
@from_replica
def case_sheet(request: ClinicRequest, prescription: int) -> HttpResponse:
    found = visible_or_404(
        Prescription.objects.select_related("limb__person__site"), request.user, pk=prescription
    )
    person = found.limb.person
    return render(
        request,
        "audit/case_sheet.html",
        {"sheet": sheet_of(found), "site": person.site, "today": timezone.localdate(), "here": "audit"},
    )


@may("prescribe")
@from_replica
def audit_mine(request: ClinicRequest) -> HttpResponse:
    """A prescriber's own share of agreement; nobody else's."""
    site, today = site_or_404(request.user, request), timezone.localdate()
    wanted = AuditFilter((site,), today - timedelta(days=365), today)
    rows = prescriber_rows(wanted, only=request.user)
    return render(
        request,
        "audit/mine.html",
        {
            "site": site,
            "rows": rows,
            "wanted": wanted,
            "enough": ENOUGH,
            "parts": DEFINITIONS["funnel"],
            "here": "review",
        },
    )
