"""The page the day starts on."""

from django.http import HttpResponse
from django.shortcuts import render
from django.utils import timezone

from clinic.access import ClinicRequest, may, site_or_404, sites_of
from clinic.selectors.today import today_lists


@may("see_today")
def today(request: ClinicRequest) -> HttpResponse:
    site = site_or_404(request.user, request)
    context = {
        "lists": today_lists(site, timezone.localdate()),
        "site": site,
        "sites": sites_of(request.user),
        "here": "today",
    }
    return render(request, "clinic/today/today.html", context)
