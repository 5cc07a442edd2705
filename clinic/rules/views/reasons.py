"""The coded reasons of a site: what can be given, adding one, rewording one, taking one out of use."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse

from clinic.access import ClinicRequest, may, site_or_404, sites_of
from clinic.models import ReasonKind
from clinic.record.errors import Refused
from clinic.record.forms.refusals import show
from clinic.rules.forms.reasons import ReasonChangeForm, ReasonForm
from clinic.rules.reads.reasons import amendments_of, reason_listed, reasons_of, uses_of
from clinic.rules.writes.reasons import reason_add, reason_change


@may("reasons")
def reasons(request: ClinicRequest) -> HttpResponse:
    site = site_or_404(request.user, request)
    form = ReasonForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        kind, code = form.kind_and_code
        try:
            row = reason_add(
                by=request.user, site=site, kind=kind, words=form.cleaned_data["words"], counts_as=code
            )
        except Refused as refused:
            show(form, refused)
        else:
            messages.success(request, f"“{row.words}” can be given from now on.")
            return redirect(f"{reverse('reasons')}?site={site.pk}")
    uses = uses_of(site)
    kinds = [
        (kind, [(one, uses.get(one.row.pk, 0) if one.row else 0) for one in reasons_of(site)[kind.value]])
        for kind in ReasonKind
    ]
    context: dict[str, Any] = {
        "site": site,
        "my_sites": sites_of(request.user),
        "form": form,
        "kinds": kinds,
        "changes": amendments_of(site),
        "here": "settings",
    }
    return render(request, "rules/reasons.html", context, status=422 if form.errors else 200)


@may("reasons")
def reason_edit(request: ClinicRequest, kind: str, key: str) -> HttpResponse:
    site = site_or_404(request.user, request)
    reason = reason_listed(site, kind, key)
    if reason is None:
        raise Http404("no such reason")
    initial = {
        "words": reason.words,
        "in_use": not reason.retired,
        "seen": reason.row.version if reason.row else 0,
    }
    form = ReasonChangeForm(request.POST or None, initial=initial)
    if request.method == "POST" and form.is_valid():
        data = form.cleaned_data
        try:
            reason_change(
                by=request.user,
                site=site,
                kind=kind,
                key=key,
                words=data["words"],
                retired=not data["in_use"],
                seen=data["seen"],
            )
        except Refused as refused:
            show(form, refused)
        else:
            messages.success(request, "Changed. What was recorded with it keeps the words it had.")
            return redirect(f"{reverse('reasons')}?site={site.pk}")
    context = {"site": site, "form": form, "reason": reason, "here": "settings"}
    return render(request, "rules/reason.html", context, status=422 if form.errors else 200)
