"""One step in the life of a prescribed device: a short form, done once, back to the prescription."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render

from clinic.access import ClinicRequest
from clinic.models import Prescription
from clinic.people.reads.people import person_bar
from clinic.record.errors import Refused
from clinic.record.forms.refusals import show
from clinic.record.views.taking_back import say_done

__all__ = ["device_step"]


def device_step(
    request: ClinicRequest,
    found: Prescription,
    *,
    form_class: Callable[..., forms.Form],
    initial: dict[str, Any],
    act: Callable[..., Any],
    title: str,
    button: str,
    done: str,
    back: str = "",
) -> HttpResponse:
    """Show the form of a step, or take it; `act` writes, with the form's fields by name; `back` names
    the page that takes it back.
    """
    form = form_class(request.POST or None, initial={"version": found.version, **initial})
    if request.method == "POST" and form.is_valid():
        data = dict(form.cleaned_data)
        try:
            act(by=request.user, prescription=found, expected_version=data.pop("version"), **data)
        except Refused as refused:
            show(form, refused)
            found.refresh_from_db()
        else:
            if back:
                say_done(request, done, back, found.pk)
            else:
                messages.success(request, done)
            return redirect("prescription", prescription=found.pk)
    context = {
        "form": form,
        "prescription": found,
        "title": title,
        "button": button,
        "bar": person_bar(found.limb.person),
        "here": "people",
    }
    return render(request, "devices/step.html", context, status=422 if form.errors else 200)
