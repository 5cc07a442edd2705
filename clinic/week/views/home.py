"""The first page after signing in depends on what one comes for."""

from django.http import HttpResponse
from django.shortcuts import redirect

from clinic.access import ClinicRequest, can, may


@may("see_cases")
def home(request: ClinicRequest) -> HttpResponse:
    if can(request.user, "audit"):
        return redirect("audit")
    if can(request.user, "review"):
        return redirect("review")
    return redirect("today")
