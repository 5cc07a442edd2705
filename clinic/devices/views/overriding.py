"""The second signature against a known danger: by telephone, and confirmed."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from clinic.access import ClinicRequest, may, visible_or_404
from clinic.devices.forms.overriding import ConfirmSecondForm, TelephoneSecondForm
from clinic.devices.writes import overriding as writes
from clinic.models import Prescription
from clinic.people.reads.people import person_bar
from clinic.record.errors import Refused
from clinic.record.forms.refusals import show


@may("fit_devices")
def second_telephone(request: ClinicRequest, prescription: int) -> HttpResponse:
    return _step(
        request,
        prescription,
        form_class=TelephoneSecondForm,
        initial={"spoken_at": timezone.localtime()},
        act=writes.override_telephone,
        title="Second signature by telephone",
        button="Record the agreement",
        done="The second clinician's agreement is recorded. It is confirmed within two working days.",
    )


@may("fit_devices")
def second_confirm(request: ClinicRequest, prescription: int) -> HttpResponse:
    return _step(
        request,
        prescription,
        form_class=ConfirmSecondForm,
        initial={},
        act=writes.override_confirm,
        title="The second signature is confirmed",
        button="Record the confirmation",
        done="Confirmed. The device may be sealed.",
    )


def _step(
    request: ClinicRequest,
    pk: int,
    *,
    form_class: type[forms.Form],
    initial: dict[str, Any],
    act: Callable[..., Prescription],
    title: str,
    button: str,
    done: str,
) -> HttpResponse:
    found = visible_or_404(
        Prescription.objects.select_related("limb__person__site", "signed_by", "second_by"),
        request.user,
        pk=pk,
    )
    form = form_class(request.POST or None, initial={"version": found.version, **initial})
    if request.method == "POST" and form.is_valid():
        data = dict(form.cleaned_data)
        try:
            act(by=request.user, prescription=found, expected_version=data.pop("version"), **data)
        except Refused as refused:
            show(form, refused)
            found.refresh_from_db()
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
