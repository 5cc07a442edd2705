"""Asking for a look at a lesion, and answering."""

from functools import partial

from django.contrib import messages
from django.http import HttpResponse, HttpResponseNotAllowed
from django.shortcuts import redirect, render
from django.urls import reverse

from clinic.access import ClinicRequest, may, visible_or_404
from clinic.lesions.forms.looks import AskForm, LookAnswerForm
from clinic.lesions.writes import looks as writes
from clinic.models import Lesion, Look
from clinic.people.reads.people import person_bar
from clinic.record.errors import Refused
from clinic.record.forms.refusals import show
from clinic.record.views.taking_back import say_done, take_back_page

LOOKS = Look.objects.select_related("lesion__limb__person__site", "created_by", "answered_by")


@may("log_visits")
def look_ask(request: ClinicRequest, lesion: int) -> HttpResponse:
    found = visible_or_404(Lesion.objects.select_related("limb__person__site"), request.user, pk=lesion)
    form = AskForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            writes.look_ask(by=request.user, lesion=found, question=form.cleaned_data["question"])
        except Refused as refused:
            show(form, refused)
        else:
            messages.success(
                request, "Asked. The ulcer stands on Review, after what is urgent, until it is answered."
            )
            return redirect("lesion", lesion=found.pk)
    return render(
        request,
        "lesions/looks/ask.html",
        {"form": form, "lesion": found, "bar": person_bar(found.limb.person), "here": "people"},
        status=422 if form.errors else 200,
    )


@may("review")
def look_answer(request: ClinicRequest, look: int) -> HttpResponse:
    found = visible_or_404(LOOKS, request.user, pk=look)
    form = LookAnswerForm(request.POST or None, initial={"version": found.version})
    if request.method == "POST" and form.is_valid():
        try:
            writes.look_answer(
                by=request.user,
                look=found,
                answer=form.cleaned_data["answer"],
                expected_version=form.cleaned_data["version"],
            )
        except Refused as refused:
            show(form, refused)
            found.refresh_from_db()
        else:
            messages.success(request, "Answered. It stands on Today until it is read.")
            return redirect("review")
    return render(
        request,
        "lesions/looks/answer.html",
        {"form": form, "look": found, "bar": person_bar(found.lesion.limb.person), "here": "review"},
        status=422 if form.errors else 200,
    )


@may("see_today")
def look_read(request: ClinicRequest, look: int) -> HttpResponse:
    found = visible_or_404(LOOKS, request.user, pk=look)
    if request.method != "POST":
        return HttpResponseNotAllowed(["POST"])
    try:
        writes.look_read(by=request.user, look=found)
    except Refused as refused:
        messages.info(request, refused.message)
    else:
        say_done(request, "The answer is marked as read.", "look_unread", found.pk)
    return redirect("today")


@may("see_today")
def look_unread(request: ClinicRequest, look: int) -> HttpResponse:
    found = visible_or_404(LOOKS, request.user, pk=look)
    return take_back_page(
        request,
        found,
        partial(writes.look_unread, look=found),
        title="Take back: the answer was read",
        lead=f"The answer of {found.answered_by or 'a colleague'} then stands on Today again.",
        button="Take it back",
        done="The answer stands on Today again.",
        back=reverse("today"),
        bar=person_bar(found.lesion.limb.person),
    )
