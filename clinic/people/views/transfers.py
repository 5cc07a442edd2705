"""A person's record handed to another clinic: asked, answered, withdrawn, sent back."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpResponse, HttpResponseNotAllowed
from django.shortcuts import redirect, render

from clinic import access
from clinic.access import ClinicRequest, may, transfer_or_404, visible_or_404
from clinic.models import Person, Transfer, TransferState
from clinic.people.forms.transfers import AcceptForm, DeclineForm, SendBackForm, TransferForm
from clinic.people.reads.open_record import open_record
from clinic.people.reads.people import person_bar
from clinic.people.reads.transfers import transfer_lists
from clinic.people.writes import transfers as writes
from clinic.people.writes.transfers import (
    transfer_accept,
    transfer_ask,
    transfer_decline,
    transfer_withdraw,
)
from clinic.people.writes.transfers import transfer_undo as send_back
from clinic.record.errors import Refused
from clinic.record.forms.refusals import show
from clinic.record.messages import message_of


@may("see_transfers")
def transfers(request: ClinicRequest) -> HttpResponse:
    site = access.site_or_404(request.user, request)
    lists = transfer_lists(site)
    access.note_listed(request.user, lists)
    return render(request, "people/transfers/list.html", {"site": site, "lists": lists, "here": "people"})


@may("ask_transfers")
def transfer_new(request: ClinicRequest, person: int) -> HttpResponse:
    found = visible_or_404(Person.objects.select_related("site"), request.user, pk=person)
    form = TransferForm(request.POST or None, person=found)
    if request.method == "POST" and form.is_valid():
        try:
            made = transfer_ask(by=request.user, person=found, **form.cleaned_data)
        except Refused as refused:
            show(form, refused)
        else:
            messages.success(request, f"{made.to_site.name} was asked. Until it accepts, nothing moves.")
            return redirect("transfer", transfer=made.pk)
    return render(
        request,
        "people/transfers/new.html",
        {"form": form, "person": found, "bar": person_bar(found), "here": "people"},
        status=422 if form.errors else 200,
    )


def _page(request: ClinicRequest, found: Transfer, **forms: object) -> HttpResponse:
    at_hand = found.person.site_id in request.user.site_ids
    to_mine = found.to_site_id in request.user.site_ids
    waits = found.state == TransferState.ASKED
    errors = any(getattr(form, "errors", None) for form in forms.values())
    return render(
        request,
        "people/transfers/detail.html",
        {
            "transfer": found,
            "at_hand": at_hand,
            # The clinic that was asked reads what it would take over; nobody reads a record that has left.
            "named": at_hand or (waits and to_mine),
            "travels": open_record(found.person) if waits else None,
            "to_mine": to_mine,
            "from_mine": found.from_site_id in request.user.site_ids,
            "accept": AcceptForm(initial={"record_number": found.record_number}),
            "decline": DeclineForm(),
            "back": SendBackForm(),
            "here": "people",
            **forms,
        },
        status=422 if errors else 200,
    )


@may("see_transfers")
def transfer(request: ClinicRequest, transfer: int) -> HttpResponse:
    return _page(request, transfer_or_404(request.user, transfer))


@may("answer_transfers")
def transfer_answer(request: ClinicRequest, transfer: int) -> HttpResponse:
    found = transfer_or_404(request.user, transfer)
    if request.method != "POST":
        return HttpResponseNotAllowed(["POST"])
    if request.POST.get("act") == "accept":
        accept = AcceptForm(request.POST)
        if accept.is_valid():
            try:
                done = transfer_accept(by=request.user, transfer=found, **accept.cleaned_data)
            except Refused as refused:
                show(accept, refused)
            else:
                messages.success(
                    request,
                    f"{done.person.full_name} is in your care now. Look at the next date and what is open.",
                )
                return redirect("person", person=done.person_id)
        return _page(request, found, accept=accept)
    decline = DeclineForm(request.POST)
    if decline.is_valid():
        try:
            transfer_decline(by=request.user, transfer=found, **decline.cleaned_data)
        except Refused as refused:
            show(decline, refused)
        else:
            messages.success(request, f"Declined; {found.from_site.name} keeps the patient in its care.")
            return redirect("transfers")
    return _page(request, found, decline=decline)


@may("ask_transfers")
def transfer_withdraw_view(request: ClinicRequest, transfer: int) -> HttpResponse:
    found = transfer_or_404(request.user, transfer)
    if request.method != "POST":
        return HttpResponseNotAllowed(["POST"])
    try:
        transfer_withdraw(by=request.user, transfer=found)
    except Refused as refused:
        messages.error(request, message_of("refused", words=refused.message).text)
    else:
        messages.success(request, "Withdrawn.")
    return redirect("transfer", transfer=found.pk)


@may("answer_transfers")
def transfer_undo(request: ClinicRequest, transfer: int) -> HttpResponse:
    found = transfer_or_404(request.user, transfer)
    if request.method != "POST":
        return HttpResponseNotAllowed(["POST"])
    form = SendBackForm(request.POST)
    if form.is_valid():
        try:
            send_back(by=request.user, transfer=found, **form.cleaned_data)
        except Refused as refused:
            show(form, refused)
        else:
            messages.success(request, f"Sent back to {found.from_site.name}, as it came.")
            return redirect("transfer", transfer=found.pk)
    return _page(request, found, back=form)


@may("see_transfers")
def transfer_seen(request: ClinicRequest, transfer: int) -> HttpResponse:
    found = transfer_or_404(request.user, transfer)
    if request.method != "POST":
        return HttpResponseNotAllowed(["POST"])
    try:
        writes.transfer_seen(by=request.user, transfer=found)
    except Refused as refused:
        messages.error(request, message_of("refused", words=refused.message).text)
    else:
        messages.success(request, "The answer is off Today.")
    return redirect("transfer", transfer=found.pk)
