"""Fitting a device by the clinic's list, and the sheet the person takes home."""

from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from clinic.access import ClinicRequest, may, visible_or_404
from clinic.devices.forms.fittings import FitForm
from clinic.devices.prints.handout import compose, paper_faults
from clinic.devices.prints.signs import HOW_TO_OPEN
from clinic.devices.reads.sealing import sealing_gate
from clinic.devices.reads.wearers import paper_dates, paper_numbers, wearer_of
from clinic.devices.writes.fittings import steps_of
from clinic.devices.writes.wear import prescription_fit as fit
from clinic.models import Prescription
from clinic.people.reads.people import person_bar
from clinic.record.errors import Refused
from clinic.record.forms.refusals import show


def _prescription(request: ClinicRequest, pk: int) -> Prescription:
    return visible_or_404(Prescription.objects.select_related("limb__person__site"), request.user, pk=pk)


@may("fit_devices")
def prescription_fit(request: ClinicRequest, prescription: int) -> HttpResponse:
    found = _prescription(request, prescription)
    initial: dict[str, Any] = {"version": found.version, "fitted_on": timezone.localdate()}
    card = None
    if found.is_non_removable:
        card = found.opening_cards.filter(handed_at__isnull=False, sealed_on=initial["fitted_on"]).first()
        initial["open_by"] = card.open_by if card else None
    form = FitForm(
        request.POST or None,
        initial=initial,
        steps=steps_of(found),
        stays_on=found.is_non_removable and not found.stays_unsealed,
    )
    if request.method == "POST" and form.is_valid():
        data: dict[str, Any] = form.cleaned_data
        try:
            fit(
                by=request.user,
                prescription=found,
                fitted_on=data["fitted_on"],
                sealed=data.get("sealed", False),
                open_by=data.get("open_by"),
                expected_version=data["version"],
                found=form.found,
            )
        except Refused as refused:
            show(form, refused)
            found.refresh_from_db()
        else:
            messages.success(request, "The fitting is recorded. Print the sheet for the patient.")
            return redirect("prescription", prescription=found.pk)
    return render(
        request,
        "devices/fit.html",
        {
            "form": form,
            "prescription": found,
            "card": card,
            "gate": sealing_gate(found, timezone.localdate()) if found.is_non_removable else None,
            "bar": person_bar(found.limb.person),
            "here": "people",
        },
        status=422 if form.errors else 200,
    )


@may("see_cases")
def advice_print(request: ClinicRequest, prescription: int) -> HttpResponse:
    found = _prescription(request, prescription)
    day, site = timezone.localdate(), found.limb.person.site
    dates, numbers = paper_dates(found, day), paper_numbers(site)
    faults = paper_faults(dates, numbers)
    context: dict[str, Any] = {"prescription": found, "faults": faults, "here": "people"}
    if not faults:
        context |= {
            "sheet": compose(wearer_of(found, day)),
            "dates": dates,
            "numbers": numbers,
            "site": site,
            "how_to_open": (site.opening_text.strip() or HOW_TO_OPEN) if found.is_non_removable else "",
            "large": request.GET.get("size") == "large",
        }
    return render(request, "devices/paper/sheet.html", context)
