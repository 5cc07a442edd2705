"""Choosing a device for a limb, and what follows: the second signature, opening, stopping, and the prints."""

from collections.abc import Iterable
from functools import partial
from typing import Any

from django.contrib import messages
from django.http import HttpResponse, QueryDict
from django.shortcuts import redirect, render
from django.utils import timezone

from clinic.access import ClinicRequest, may, visible_or_404
from clinic.curves.reads.healing import LesionHealing, healings_of
from clinic.devices.forms.prescriptions import (
    AnswersForm,
    ChoiceForm,
    OpenForm,
    SecondForm,
    StopForm,
    WhatIfForm,
)
from clinic.devices.reads.advice import LimbDecision, ToldBefore, limb_decision, told_before
from clinic.devices.reads.decisions import decisions_of, fittings_of, signed_record
from clinic.devices.reads.overriding import overriding_page
from clinic.devices.views.step import device_step
from clinic.devices.writes import prescriptions as writes
from clinic.devices.writes import wear
from clinic.devices.writes.overriding import override_needs
from clinic.guidelines.due import sealed_past
from clinic.healing.fared import chance_sentence
from clinic.models import LesionState, Limb, Prescription
from clinic.people.reads.people import person_bar
from clinic.record.dates import day_words
from clinic.record.errors import Refused
from clinic.record.forms.refusals import show
from clinic.record.messages import message_of

#: What is typed beside the answers stays while the advice is worked out again.
TYPED_BESIDE = ("device_class", "departure_reason", "reason", "device_label", "stop_reason")


@may("prescribe")
def prescription_new(request: ClinicRequest, limb: int) -> HttpResponse:
    found = visible_or_404(Limb.objects.select_related("person__site"), request.user, pk=limb)
    today = timezone.localdate()
    lesions = list(found.lesions.filter(state=LesionState.OPEN).select_related("limb").order_by("label"))
    context: dict[str, Any] = {
        "limb": found,
        "lesions": lesions,
        "today": today,
        "bar": person_bar(found.person),
        "here": "people",
    }
    if not lesions:
        return render(request, "devices/new.html", context)
    judged = list(healings_of(lesions).values())
    running = found.prescriptions.filter(stopped_on=None).select_related("relief_plan").first()
    before = told_before(running, lesions)
    # Answers are tried in the body, never in the address: they are facts of a person.
    trying = "work_out" in request.POST
    signing = request.method == "POST" and not trying
    given = request.POST if request.method == "POST" else _carried(request.GET, before)
    answers = AnswersForm(given or None, before=before)
    tried = WhatIfForm(given or None, lesions=lesions)
    answered = answers.answers()
    record = limb_decision(found, today, answered)
    assert record is not None
    switched = tried.switched()
    decision = limb_decision(found, today, answered, switched) if switched else record
    assert decision is not None
    chosen = ChoiceForm(
        request.POST if signing else None,
        initial={name: request.POST.get(name, request.GET.get(name, "")) for name in TYPED_BESIDE},
        site=found.person.site,
        offered=[offer.id for offer in record.advice.classes],
        running=running is not None,
        plan=writes.plan_to_carry(running),
        aids=[row.device.id for row in record.beside],
    )
    if signing and switched:
        chosen.add_error(
            None,
            "What-if switches are on: this is not the record. Nothing was signed. Go back to the record, "
            "then sign.",
        )
    elif signing and chosen.is_valid():
        data = {"stop_reason": "", "beside": [], **chosen.cleaned_data}
        seen = data.pop("seen")
        try:
            made = writes.prescription_sign(
                by=request.user,
                limb=found,
                lesions=lesions,
                decision=record,
                seen_digest=seen,
                prescribed_on=today,
                forecast_shown=_forecasts(judged),
                **data,
            )
        except Refused as refused:
            show(chosen, refused)
            # The page now shows the advice as it stands; the next signature is on that.
            again: Any = request.POST.copy()
            again["seen"] = record.digest
            chosen.data = again
        else:
            messages.success(request, f"Signed: {made}.")
            return redirect("prescription", prescription=made.pk)
    context |= {
        "answers": answers,
        "tried": tried,
        "decision": decision,
        "form": chosen,
        "before": before,
        "running": running,
        "judged": judged,
        "overriding": override_needs(record),
        "gained": _difference(decision, record),
        "lost": _difference(record, decision),
    }
    part = "#advice" if request.htmx and trying else ""
    return render(request, f"devices/new.html{part}", context, status=422 if chosen.errors else 200)


def _carried(given: QueryDict, before: ToldBefore | None) -> QueryDict:
    """Answers of the device before, when somebody asks for them; each is then today's answer, shown
    before signing.
    """
    filled = QueryDict(mutable=True)
    if before is None or given.get("carry") != "yes":
        return filled
    for name in before.answers:
        filled.setdefault(name, before.words(name))
    return filled


def _difference(one: LimbDecision, other: LimbDecision) -> list[str]:
    """Labels that the first offers and the second does not."""
    theirs = {offer.id for offer in other.advice.classes}
    return [row.device.label for row in one.offers if row.device.id not in theirs]


def _forecasts(judged: Iterable[LesionHealing]) -> dict[str, Any] | None:
    """What this page says at this moment, kept with the decision; never made anew."""
    shown = {}
    for healing in judged:
        report = healing.report
        if report is not None and (forecast := report.forecast) is not None:
            own = report.own
            shown[healing.lesion.label] = {
                "verdict": healing.words,
                "areas": forecast.n,
                "median": forecast.median.isoformat() if forecast.median else None,
                "chance_next_8w": round(forecast.chance_next_8w, 4),
                "told": chance_sentence(forecast.chance_next_8w, own.counts if own else None),
                "own_figures": f"{day_words(own.made_on)}, method {own.version}"
                if own is not None and own.is_on
                else "",
            }
    return shown or None


def _prescription(request: ClinicRequest, pk: int) -> Prescription:
    return visible_or_404(
        Prescription.objects.select_related("limb__person__site", "signed_by", "second_by", "relief_plan"),
        request.user,
        pk=pk,
    )


@may("see_cases")
def prescription(request: ClinicRequest, prescription: int) -> HttpResponse:
    found = _prescription(request, prescription)
    return render(
        request,
        "devices/detail.html",
        {
            "prescription": found,
            "record": signed_record(found),
            "fittings": fittings_of(found),
            "lesions": list(found.lesions.select_related("limb").order_by("label")),
            "second": SecondForm(initial={"version": found.version}),
            "overriding": overriding_page(found, request.user, timezone.now()),
            "sealed_past": sealed_past(found.open_by, timezone.localdate()),
            "bar": person_bar(found.limb.person),
            "here": "people",
        },
    )


@may("see_cases")
def decision_print(request: ClinicRequest, prescription: int) -> HttpResponse:
    """The signed record alone, from its copies: nothing on this page is read from the case as it stands
    today.
    """
    found = _prescription(request, prescription)
    lines = [row for row in decisions_of(found.limb) if row.line.prescription_id == found.pk]
    return render(
        request,
        "devices/record.html",
        {"prescription": found, "record": signed_record(found), "lines": lines, "here": "people"},
    )


@may("see_cases")
def limb_decisions(request: ClinicRequest, limb: int) -> HttpResponse:
    found = visible_or_404(Limb.objects.select_related("person__site"), request.user, pk=limb)
    return render(
        request,
        "devices/decisions.html",
        {
            "limb": found,
            "rows": decisions_of(found),
            "bar": person_bar(found.person),
            "here": "people",
        },
    )


@may("sign_second")
def prescription_second(request: ClinicRequest, prescription: int) -> HttpResponse:
    found = _prescription(request, prescription)
    form = SecondForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            writes.prescription_second(
                by=request.user, prescription=found, expected_version=form.cleaned_data["version"]
            )
        except Refused as refused:
            messages.error(request, message_of("refused", words=refused.message).text)
        else:
            messages.success(request, "Signed second. The device can be fitted.")
    return redirect("prescription", prescription=found.pk)


@may("fit_devices")
def prescription_open(request: ClinicRequest, prescription: int) -> HttpResponse:
    return device_step(
        request,
        _prescription(request, prescription),
        form_class=OpenForm,
        initial={"opened_on": timezone.localdate()},
        act=wear.prescription_open,
        title="Opened",
        button="Record the opening",
        done="The opening is recorded; seal it again or stop it.",
        back="opening_take_back",
    )


@may("fit_devices")
def prescription_stop(request: ClinicRequest, prescription: int) -> HttpResponse:
    found = _prescription(request, prescription)
    return device_step(
        request,
        found,
        form_class=partial(StopForm, site=found.limb.person.site),
        initial={"stopped_on": timezone.localdate()},
        act=wear.prescription_stop,
        title="Stop this device",
        button="Stop the device",
        done="The device is stopped.",
    )
