"""Answers to a page whose script sends the form itself, so that a lost network leaves the page in place."""

from django.forms import BaseForm
from django.http import HttpResponse, JsonResponse
from django.shortcuts import redirect

from clinic.access import ClinicRequest


def wants_json(request: ClinicRequest) -> bool:
    """Whether the page's script asks, not the browser."""
    return request.headers.get("Accept", "").startswith("application/json")


def sent_on(request: ClinicRequest, url: str) -> HttpResponse:
    """Where to go after the form was kept; a script is told, a browser is sent."""
    return JsonResponse({"next": url}) if wants_json(request) else redirect(url)


def refused_with(form: BaseForm) -> HttpResponse:
    """Every reason in one line."""
    reasons = [str(reason) for reasons in form.errors.values() for reason in reasons]
    return JsonResponse({"refused": " ".join(reasons)}, status=422)
