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
from clinic.rules.writes.house_rules import house_rules_change


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
            messages.success(request, "The house rules are changed.")
            return redirect(f"{reverse('house_rules')}?site={site.pk}")
    return render(
        request,
        "rules/page.html",
        {
            "form": form,
            "site": site,
            "stack": STACK,
            "rules": RULES,
            "history": history_of(site),
            "here": "house_rules",
        },
        status=422 if form.errors else 200,
    )
