"""What a clinic has settled for itself, on one page: who may edit it, and what was changed."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse

from clinic.access import ClinicRequest, can, may, note_listed, site_or_404
from clinic.accounts.reads.accounts import settings_history
from clinic.accounts.reads.breakglass import notices
from clinic.accounts.reads.problems import open_problems
from clinic.accounts.writes.settings_page import second_factor_rule
from clinic.models import ReasonKind
from clinic.record.errors import Refused
from clinic.record.messages import message_of
from clinic.record.reads.changes import tell
from clinic.rules.reads.reasons import reasons_of
from offload.core.foam.law import packaged_foams


@may("settings")
def settings_page(request: ClinicRequest) -> HttpResponse:
    site = site_or_404(request.user, request)
    status = 200
    if request.method == "POST":
        if not can(request.user, "accounts"):
            status = 422
            messages.error(request, message_of("manager_only").text)
        else:
            try:
                second_factor_rule(by=request.user, site=site, required=request.POST.get("asked") == "yes")
            except Refused as refused:
                status = 422
                messages.error(request, message_of("refused", words=refused.message).text)
            else:
                messages.success(request, "The sign-in rule is changed.")
                return redirect(f"{reverse('settings')}?site={site.pk}")
    glasses = notices(site) if can(request.user, "watch_glass") else []
    note_listed(request.user, glasses)
    return render(
        request,
        "accounts/settings/page.html",
        {
            "site": site,
            "history": [tell(event) for event in settings_history(site)],
            "foams": list(packaged_foams().values()),
            "reasons": [
                (kind.label, [one.words for one in reasons_of(site)[kind.value] if not one.retired])
                for kind in ReasonKind
            ],
            "notices": glasses,
            "problems": open_problems(site),
            "here": "settings",
        },
        status=status,
    )
