"""The house rules of a site on one page."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse

from clinic.access import ClinicRequest, may, site_or_404
from clinic.record.errors import Refused
from clinic.record.forms.refusals import show
from clinic.rules.forms.house_rules import HouseRulesForm
from clinic.rules.reads.house_rules import RULES, STACK, history_of
from clinic.rules.reads.touched import touched_now
from clinic.rules.writes.house_rules import house_rules_change
from offload.core.plan.crossings import SAYS_NOTHING, WHAT, crossings


@may("house_rules")
def house_rules(request: ClinicRequest) -> HttpResponse:
    site = site_or_404(request.user, request)  # type: ignore[arg-type]
    form = HouseRulesForm(request.POST or None, site=site)
    if request.method == "POST" and form.is_valid():
        try:
            house_rules_change(by=request.user, site=site, **form.cleaned_data)  # type: ignore[arg-type]
        except Refused as refused:
            show(form, refused)
        else:
            hit = touched_now(site)
            messages.success(
                request,
                f"The house rules are changed. {len(hit.drafts)} drafts are held against them when they are "
                f"signed; {len(hit.signed)} signed plans and {len(hit.sealed)} non-removable devices stay.",
            )
            return redirect(f"{reverse('house_rules')}?site={site.pk}")
    return render(
        request,
        "rules/page.html",
        {
            "form": form,
            "site": site,
            "stack": STACK,
            "crossings": crossings(),
            "crossing_of": WHAT,
            "says_nothing": SAYS_NOTHING,
            "rules": RULES,
            "touched": touched_now(site),
            "history": history_of(site),
            "here": "house_rules",
        },
        status=422 if form.errors else 200,
    )
