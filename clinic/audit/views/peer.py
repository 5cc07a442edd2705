"""Peer reading: the lead draws, two podiatrists read, and both see how far they agree."""

from __future__ import annotations

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render

from clinic.access import ClinicRequest, may, site_or_404, visible_or_404
from clinic.audit.forms.peer import PeerDrawForm, PeerReadForm
from clinic.audit.reads.peer import next_case, open_count, peer_result, round_rows, shown_case
from clinic.audit.writes.peer import peer_draw, peer_read
from clinic.models import PeerCase, PeerRound
from clinic.people.reads.peer_waiting import cases_short
from clinic.record.errors import Refused
from clinic.record.forms.refusals import show


@may("see_outcomes")
def peer_rounds(request: ClinicRequest) -> HttpResponse:
    site = site_or_404(request.user, request)
    return render(
        request,
        "audit/peer/rounds.html",
        {"site": site, "rows": round_rows(site, request.user), "here": "audit"},
    )


@may("audit")
def peer_new(request: ClinicRequest) -> HttpResponse:
    site = site_or_404(request.user, request)
    form = PeerDrawForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            made = peer_draw(by=request.user, site=site, **form.cleaned_data)
        except Refused as refused:
            show(form, refused)
        else:
            messages.success(
                request, f"{made.cases.count()} choices are drawn; podiatrists of {site.name} can read them."
            )
            return redirect("peer_round", round=made.pk)
    return render(
        request,
        "audit/peer/new.html",
        {"site": site, "form": form, "here": "audit"},
        status=422 if form.errors else 200,
    )


@may("see_outcomes")
def peer_round(request: ClinicRequest, round: int) -> HttpResponse:
    found = visible_or_404(PeerRound.objects.select_related("site"), request.user, pk=round)
    return render(
        request,
        "audit/peer/round.html",
        {
            "round": found,
            "site": found.site,
            "result": peer_result(found),
            "next": next_case(found, request.user),
            "short": cases_short(found.cases.all(), found.site),
            "unread": open_count(found),
            "here": "audit",
        },
    )


@may("review")
def peer_case(request: ClinicRequest, case: int) -> HttpResponse:
    found = visible_or_404(
        PeerCase.objects.select_related("round__site", "prescription__limb"), request.user, pk=case
    )
    if found.prescription.signed_by_id == request.user.pk:
        raise Http404("a choice is not read by who made it")
    form = PeerReadForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            peer_read(by=request.user, case=found, **form.cleaned_data)
        except Refused as refused:
            show(form, refused)
        else:
            following = next_case(found.round, request.user)
            if following is not None:
                return redirect("peer_case", case=following.pk)
            messages.success(request, "You have read every choice of this round that is yours to read.")
            return redirect("peer_round", round=found.round_id)
    return render(
        request,
        "audit/peer/case.html",
        {"case": found, "shown": shown_case(found), "form": form, "site": found.round.site, "here": "audit"},
        status=422 if form.errors else 200,
    )
