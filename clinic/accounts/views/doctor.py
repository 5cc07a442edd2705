"""What `manage.py doctor` says, for managers."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import render

from clinic.access import ClinicRequest, may
from clinic.accounts.reads.doctor import FAULT, WELL, examine
from clinic.accounts.writes.problems import program_version


@may("run_clinic")
def doctor(request: ClinicRequest) -> HttpResponse:
    lines = list(examine())
    return render(
        request,
        "accounts/settings/doctor.html",
        {
            "wrong": [line for line in lines if line.level != WELL],
            "well": [line for line in lines if line.level == WELL],
            "faults": sum(line.level == FAULT for line in lines),
            "version": program_version(),
            "here": "settings",
        },
    )
