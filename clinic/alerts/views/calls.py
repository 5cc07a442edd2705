"""Logging a call that came in, and answering it."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from clinic.access import ClinicRequest, may, note_listed, site_or_404, visible_or_404
from clinic.alerts.forms.calls import CallDoneForm, CallForm, CallOfForm
from clinic.alerts.reads.calls import OPENS_DEVICE, call_clock, people_who_call, sealed_of
from clinic.alerts.reads.flags import flags_open, travelling_sheet
from clinic.alerts.reads.known import feet_standing, known_beside
from clinic.alerts.writes.calls import call_answer as answer
from clinic.alerts.writes.calls import call_log
from clinic.alerts.writes.flags import FlagOutcome
from clinic.models import CallAbout, IncomingCall, Person
from clinic.people.reads.people import person_bar
from clinic.record.errors import Refused
from clinic.record.forms.refusals import show
from clinic.record.views.taking_back import say_done


@may("log_visits")
def call_of(request: ClinicRequest) -> HttpResponse:
    """Whose call it is; then the same page as from the person's own."""
    site = site_or_404(request.user, request)
    people = people_who_call(site)
    form = CallOfForm(request.POST or None, people=people)
    if request.method == "POST" and form.is_valid():
        return redirect("call_new", person=int(form.cleaned_data["person"]))
    note_listed(request.user, {person.pk for person in people})
    context = {"form": form, "site": site, "here": "today"}
    return render(request, "alerts/calls/of.html", context, status=422 if form.errors else 200)


@may("log_visits")
def call_new(request: ClinicRequest, person: int) -> HttpResponse:
    who = visible_or_404(Person.objects.select_related("site"), request.user, pk=person)
    form = CallForm(request.POST if request.method == "POST" else None)
    form.known_beside(known_beside(feet_standing(who, timezone.localdate())))
    if request.method == "POST" and form.is_valid():
        data = form.cleaned_data
        try:
            made = call_log(
                by=request.user,
                person=who,
                about=data["about"],
                words=data["words"],
                caller=data["caller"],
                red_flags=data["red_flags"],
                outcome=FlagOutcome(
                    data["flag_answer"], data["flag_answer_note"], data["flag_under"], data["flag_until"]
                ),
                done=data["done"],
                done_note=data["done_note"],
            )
        except Refused as refused:
            show(form, refused)
        else:
            messages.success(request, "The call is logged.")
            raised = flags_open(who).filter(call=made).first()
            if raised is not None:
                return redirect("flag_answer", flag=raised.pk)
            return redirect("person", person=who.pk)
    sealed = sealed_of(who)
    context = {
        "form": form,
        "red": travelling_sheet(who, sealed, timezone.now()),
        "opens": [CallAbout(one).label.lower() for one in OPENS_DEVICE],
        "bar": person_bar(who),
        "here": "today",
    }
    return render(request, "alerts/calls/new.html", context, status=422 if form.errors else 200)


@may("log_visits")
def call_answer(request: ClinicRequest, call: int) -> HttpResponse:
    found = visible_or_404(
        IncomingCall.objects.select_related("person__site", "created_by", "done_by"), request.user, pk=call
    )
    form = CallDoneForm(request.POST or None, initial={"version": found.version})
    if request.method == "POST" and form.is_valid():
        try:
            answer(
                by=request.user,
                call=found,
                done=form.cleaned_data["done"],
                done_note=form.cleaned_data["done_note"],
                expected_version=form.cleaned_data["version"],
            )
        except Refused as refused:
            show(form, refused)
            found.refresh_from_db()
        else:
            say_done(request, "The call is answered.", "call_answer_take_back", found.pk)
            return redirect("person", person=found.person_id)
    sealed = sealed_of(found.person)
    context = {
        "form": form,
        "call": found,
        "sealed": sealed if found.about in OPENS_DEVICE else (),
        "clock": call_clock(found, found.person.site, timezone.now(), sealed=bool(sealed)),
        "flags": list(found.red_flags.standing().order_by("raised_at")),
        "bar": person_bar(found.person),
        "here": "today",
    }
    return render(request, "alerts/calls/answer.html", context, status=422 if form.errors else 200)
