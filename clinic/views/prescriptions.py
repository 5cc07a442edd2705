"""Choosing a device for a limb, and what follows: fitting, sealing, opening, stopping."""

from datetime import timedelta

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from clinic.access import ClinicRequest, may, visible_or_404
from clinic.forms.prescriptions import AnswersForm, ChoiceForm, FitForm, OpenForm, StopForm
from clinic.forms.refusals import show
from clinic.models import LesionState, Limb, Prescription
from clinic.selectors.advice import limb_decision, prescription_rows
from clinic.selectors.healing import healings_of
from clinic.selectors.people import person_bar
from clinic.services import prescriptions as service
from clinic.services.errors import Refused


@may("prescribe")
def prescription_new(request: ClinicRequest, limb: int) -> HttpResponse:
    found = visible_or_404(Limb.objects.select_related("person__site"), request.user, pk=limb)
    today = timezone.localdate()
    lesions = list(found.lesions.filter(state=LesionState.OPEN).order_by("label"))
    given = request.POST if request.method == "POST" else request.GET
    answers = AnswersForm(given if given else None, lesions=lesions)
    decision = limb_decision(found, today, answers.answers()) if lesions else None
    context = {
        "limb": found,
        "lesions": lesions,
        "answers": answers,
        "decision": decision,
        "today": today,
        "bar": person_bar(found.person),
        "here": "people",
    }
    if decision is None:
        return render(request, "clinic/prescriptions/new.html", context)
    chosen = ChoiceForm(
        request.POST if request.method == "POST" else None,
        initial={"seen": decision.digest},
        offered=[offer.id for offer in decision.advice.classes],
        running=decision.running is not None,
    )
    if request.method == "POST" and chosen.is_valid():
        data = chosen.cleaned_data
        try:
            made = service.prescription_sign(
                by=request.user,
                limb=found,
                lesions=lesions,
                decision=decision,
                seen_digest=data["seen"],
                device_class=data["device_class"],
                reason=data["reason"],
                departure_reason=data["departure_reason"],
                device_label=data["device_label"],
                prescribed_on=today,
                stop_reason=data.get("stop_reason", ""),
                forecast_shown=_forecasts(lesions),
            )
        except Refused as refused:
            show(chosen, refused)
            # The page now shows the advice as it stands; the next signature is on that.
            chosen.data = {**request.POST.dict(), "seen": decision.digest}
        else:
            messages.success(request, f"Signed: {made}.")
            return redirect("prescription", prescription=made.pk)
    context["form"] = chosen
    part = "#advice" if request.htmx and request.method == "GET" else ""
    return render(
        request, f"clinic/prescriptions/new.html{part}", context, status=422 if chosen.errors else 200
    )


def _forecasts(lesions):
    """What the healing pages say at this moment, kept with the decision."""
    shown = {}
    for healing in healings_of(lesions).values():
        forecast = healing.report.forecast if healing.report else None
        if forecast is not None:
            shown[healing.lesion.label] = {
                "verdict": healing.words,
                "areas": forecast.n,
                "median": forecast.median.isoformat() if forecast.median else None,
                "chance_next_8w": round(forecast.chance_next_8w, 4),
            }
    return shown or None


def _prescription(request: ClinicRequest, pk: int) -> Prescription:
    return visible_or_404(
        Prescription.objects.select_related("limb__person__site", "signed_by", "relief_plan"),
        request.user,
        pk=pk,
    )


@may("see_cases")
def prescription(request: ClinicRequest, prescription: int) -> HttpResponse:
    found = _prescription(request, prescription)
    return render(
        request,
        "clinic/prescriptions/detail.html",
        {
            "prescription": found,
            "copies": prescription_rows(found),
            "lesions": list(found.lesions.select_related("limb").order_by("label")),
            "today": timezone.localdate(),
            "bar": person_bar(found.limb.person),
            "here": "people",
        },
    )


def _step(request: ClinicRequest, pk: int, *, form_class, initial, act, title: str, button: str, done: str):
    found = _prescription(request, pk)
    form = form_class(request.POST or None, initial={"version": found.version, **initial(found)})
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
    return render(
        request,
        "clinic/prescriptions/step.html",
        {
            "form": form,
            "prescription": found,
            "title": title,
            "button": button,
            "bar": person_bar(found.limb.person),
            "here": "people",
        },
        status=422 if form.errors else 200,
    )


@may("fit_devices")
def prescription_fit(request: ClinicRequest, prescription: int) -> HttpResponse:
    def initial(found: Prescription):
        today, site = timezone.localdate(), found.limb.person.site
        days = site.sealed_first_days if found.opened_on is None else site.sealed_days
        return {
            "fitted_on": today,
            "open_by": today + timedelta(days=days) if found.is_non_removable else None,
        }

    return _step(
        request,
        prescription,
        form_class=FitForm,
        initial=initial,
        act=service.prescription_fit,
        title="Fitted",
        button="Record the fitting",
        done="The fitting is recorded.",
    )


@may("fit_devices")
def prescription_open(request: ClinicRequest, prescription: int) -> HttpResponse:
    return _step(
        request,
        prescription,
        form_class=OpenForm,
        initial=lambda found: {"opened_on": timezone.localdate()},
        act=service.prescription_open,
        title="Opened",
        button="Record the opening",
        done="The opening is recorded; seal it again or stop it.",
    )


@may("fit_devices")
def prescription_stop(request: ClinicRequest, prescription: int) -> HttpResponse:
    return _step(
        request,
        prescription,
        form_class=StopForm,
        initial=lambda found: {"stopped_on": timezone.localdate()},
        act=service.prescription_stop,
        title="Stop this device",
        button="Stop the device",
        done="The device is stopped.",
    )
