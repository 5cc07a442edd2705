"""What the daily and weekly checks of the record found."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import render

from clinic.access import ClinicRequest, may
from clinic.accounts.reads.checks import checks_of_late


@may("run_clinic")
def record_checks(request: ClinicRequest) -> HttpResponse:
    return render(request, "accounts/settings/checks.html", {"checks": checks_of_late(), "here": "settings"})
