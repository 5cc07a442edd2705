"""The page the day starts on, and the clinic of a day on paper."""

from datetime import date

from django.http import HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.dateparse import parse_date

from clinic.access import ClinicRequest, can, may, site_or_404, sites_of
from clinic.people.reads.transfers import waiting_here
from clinic.week.reads.preparation import expected_on
from clinic.week.reads.today import today_lists


@may("see_today")
def today(request: ClinicRequest) -> HttpResponse:
    site = site_or_404(request.user, request)
    signer = request.user if can(request.user, "prescribe") else None
    context = {
        "lists": today_lists(site, timezone.localdate(), signer=signer),
        "site": site,
        "sites": sites_of(request.user),
        "transfers_waiting": waiting_here(site),
        "here": "today",
    }
    return render(request, "week/today.html", context)


def _day(text: str) -> date:
    try:
        return parse_date(text) or timezone.localdate()
    except ValueError:
        return timezone.localdate()


@may("see_today")
def clinic_preparation(request: ClinicRequest) -> HttpResponse:
    site = site_or_404(request.user, request)
    day = _day(request.GET.get("day", ""))
    context = {
        "expected": expected_on(site, day, timezone.now()),
        "day": day,
        "site": site,
        "here": "today",
    }
    return render(request, "week/preparation.html", context)
