"""Sign-ins and readings, for managers."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import render

from clinic.access import ClinicRequest, may, site_or_404
from clinic.accounts.reads import watch
from clinic.record.reads.changes import tell


@may("accounts")
def access_watch(request: ClinicRequest) -> HttpResponse:
    site = site_or_404(request.user, request)
    return render(
        request,
        "accounts/watch.html",
        {
            "site": site,
            "refused": watch.refused_names(request.user),
            "ended": watch.sign_ins_ended(site),
            "exports": [tell(event) for event in watch.exports_of(site)],
            "lists": [(row, row.listed.count(",") - 1) for row in watch.list_reads_of(site)],
            "here": "settings",
        },
    )
