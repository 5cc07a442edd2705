"""Taking back or correcting that a device was opened, and taking back that it was sealed."""

from functools import partial

from django.http import HttpResponse
from django.urls import reverse

from clinic.access import ClinicRequest, may, visible_or_404
from clinic.devices.forms.wear_back import OpeningCorrectionForm
from clinic.devices.reads.cards import cards_given_since
from clinic.devices.writes import wear_back
from clinic.models import Prescription
from clinic.people.reads.people import person_bar
from clinic.record.dates import day_words
from clinic.record.views.taking_back import entry_page, take_back_page

DEVICES = Prescription.objects.select_related("limb__person__site", "opened_visit")


@may("fit_devices")
def opening_correct(request: ClinicRequest, prescription: int) -> HttpResponse:
    found = visible_or_404(DEVICES, request.user, pk=prescription)
    stored = {"opened_on": found.opened_on, "version": found.version}
    return entry_page(
        request,
        form=OpeningCorrectionForm(request.POST or None, initial=stored),
        do=lambda data: wear_back.opening_correct(
            by=request.user,
            prescription=found,
            opened_on=data["opened_on"],
            reason=data["reason"],
            expected_version=data["version"],
        ),
        title="Correct the day this device was opened",
        lead="Was it not opened at all, take the opening back: its clock runs again.",
        button="Save the correction",
        done="The day of the opening is corrected.",
        back=reverse("prescription", args=[found.pk]),
        bar=person_bar(found.limb.person),
        other=("It was not opened", reverse("opening_take_back", args=[found.pk])),
    )


@may("fit_devices")
def opening_take_back(request: ClinicRequest, prescription: int) -> HttpResponse:
    found = visible_or_404(DEVICES, request.user, pk=prescription)
    lead = "It counts as sealed from the day it was sealed, to be opened by the same day as before."
    if given := cards_given_since(found):
        days = ", ".join(map(day_words, given))
        lead += f" A card given since says {days}: take that card from the patient; the card before counts."
    return take_back_page(
        request,
        found,
        partial(wear_back.opening_take_back, prescription=found),
        title="This device was not opened",
        lead=lead,
        button="Take the opening back",
        done="The opening is taken back; the clock of the non-removable device runs again.",
        back=reverse("prescription", args=[found.pk]),
        bar=person_bar(found.limb.person),
    )


@may("fit_devices")
def sealing_take_back(request: ClinicRequest, prescription: int) -> HttpResponse:
    found = visible_or_404(DEVICES, request.user, pk=prescription)
    return take_back_page(
        request,
        found,
        partial(wear_back.sealing_take_back, prescription=found),
        title="This device was not sealed",
        lead="It stands as it stood before the sealing. A card given for it is void: take it back from the "
        "patient.",
        button="Take the sealing back",
        done="The sealing is taken back.",
        back=reverse("prescription", args=[found.pk]),
        bar=person_bar(found.limb.person),
    )
