"""Foams of a site: what it measured, how well the law fits, and adding another."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone

from clinic.access import ClinicRequest, may, site_or_404, sites_of, visible_or_404
from clinic.models import SiteFoam
from clinic.record.errors import Refused
from clinic.record.forms.refusals import show
from clinic.record.messages import message_of
from clinic.rules.forms.foams import FoamForm
from clinic.rules.reads.foams import own_foams
from clinic.rules.reads.touched import touched_by_foam
from clinic.rules.writes.foams import foam_add
from clinic.rules.writes.foams import foam_retire as retire
from offload.core.foam.law import packaged_foams


@may("house_rules")
def foams(request: ClinicRequest) -> HttpResponse:
    site = site_or_404(request.user, request)
    form = FoamForm(request.POST or None, initial={"measured_on": timezone.localdate()})
    if request.method == "POST" and form.is_valid():
        data = form.cleaned_data
        try:
            link = foam_add(
                by=request.user,
                site=site,
                label=data["label"],
                hardness=data["hardness"],
                stress_kpa=form.stress_kpa,
                source=data["source"],
                measured_on=data["measured_on"],
            )
        except Refused as refused:
            show(form, refused)
        else:
            foam = link.foam
            messages.success(
                request,
                f"{foam.label} is kept: modulus {foam.modulus_kpa:.0f} kPa, locking strain "
                f"{foam.locking_strain:.2f}, "
                f"misfit {foam.misfit_kpa:.1f} kPa. It can be chosen in the house rules.",
            )
            return redirect(f"{reverse('foams')}?site={site.pk}")
    context = {
        "site": site,
        "my_sites": sites_of(request.user),
        "form": form,
        "own": own_foams(site),
        "packaged": packaged_foams().values(),
        "here": "house_rules",
    }
    return render(request, "rules/foams.html", context, status=422 if form.errors else 200)


@may("house_rules")
def foam_retire(request: ClinicRequest, site_foam: int) -> HttpResponse:
    link = visible_or_404(SiteFoam.objects.select_related("foam"), request.user, pk=site_foam)
    if request.method == "POST":
        try:
            retire(by=request.user, link=link)
        except Refused as refused:
            messages.error(request, message_of("refused", words=refused.message).text)
        else:
            hit = touched_by_foam(link.site, link.foam.key)
            messages.success(
                request,
                f"{link.foam.label} is out of use. {len(hit.drafts)} drafts name it and cannot be signed; "
                f"{len(hit.signed)} signed plans keep it.",
            )
    return redirect(f"{reverse('foams')}?site={link.site_id}")
