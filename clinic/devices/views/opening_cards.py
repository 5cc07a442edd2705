"""The opening card: made, printed, given to the person; then the device can be recorded as fitted."""

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from clinic.access import ClinicRequest, can, may, visible_or_404
from clinic.devices.forms.opening_cards import CardForm
from clinic.devices.reads.cards import cards_replaced, void_because
from clinic.devices.reads.sealing import sealing_gate
from clinic.devices.writes.opening_cards import card_hand_over, card_make
from clinic.guidelines.clocks import latest_opening
from clinic.models import OpeningCard, Prescription
from clinic.people.reads.people import person_bar
from clinic.record.errors import Refused
from clinic.record.forms.refusals import show
from clinic.rules.reads.clocks import seal_rule


@may("fit_devices")
def card_new(request: ClinicRequest, prescription: int) -> HttpResponse:
    found = visible_or_404(
        Prescription.objects.select_related("limb__person__site"), request.user, pk=prescription
    )
    today = timezone.localdate()
    rule = seal_rule(found.limb.person.site)
    latest = latest_opening(today, rule, first=found.fitted_on is None)
    form = CardForm(request.POST or None, initial={"sealed_on": today, "open_by": latest})
    if request.method == "POST" and form.is_valid():
        try:
            card = card_make(by=request.user, prescription=found, **form.cleaned_data)
        except Refused as refused:
            show(form, refused)
        else:
            return redirect("opening_card", card=card.pk)
    return render(
        request,
        "devices/opening_cards/new.html",
        {
            "form": form,
            "prescription": found,
            "latest": latest,
            "gate": sealing_gate(found, today) if found.is_non_removable else None,
            "bar": person_bar(found.limb.person),
            "here": "people",
        },
        status=422 if form.errors else 200,
    )


@may("see_cases")
def opening_card(request: ClinicRequest, card: int) -> HttpResponse:
    found = visible_or_404(
        OpeningCard.objects.select_related("prescription__limb__person__site", "created_by", "handed_by"),
        request.user,
        pk=card,
    )
    if request.method == "POST":
        if not can(request.user, "fit_devices"):
            raise PermissionDenied
        try:
            card_hand_over(by=request.user, card=found)
        except Refused as refused:
            messages.info(request, refused.message)
        else:
            messages.success(request, "Recorded: the card is in the patient's hands. Now record the fitting.")
            return redirect("prescription_fit", prescription=found.prescription_id)
        return redirect("opening_card", card=found.pk)
    person = found.prescription.limb.person
    return render(
        request,
        "devices/opening_cards/card.html",
        {
            "card": found,
            "content": found.content,
            "void": void_because(found),
            "replaced": cards_replaced(found),
            "large": request.GET.get("size") == "large",
            "person": person,
            "bar": person_bar(person),
            "here": "people",
        },
    )
