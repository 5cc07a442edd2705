"""The page that settles a person who left, and the list of everybody with something left open."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from clinic.access import ClinicRequest, can, may, note_listed, site_or_404, visible_or_404
from clinic.case.forms.settling import SettleForm
from clinic.case.writes.settling import person_settle
from clinic.models import Person
from clinic.people.reads.left_open import devices_without_ulcer, left_people, open_things, restricted_people
from clinic.people.reads.people import person_bar
from clinic.record.errors import Refused
from clinic.record.forms.refusals import show


@may("settle")
def settle(request: ClinicRequest, person: int) -> HttpResponse:
    found = visible_or_404(Person.objects.select_related("site"), request.user, pk=person)
    things = open_things(found)
    form = SettleForm(
        request.POST or None,
        person=found,
        things=things,
        initial={"on": found.state_on or timezone.localdate()},
    )
    if request.method == "POST" and form.is_valid():
        try:
            left = person_settle(by=request.user, person=found, on=form.day, ends=form.settled())
        except Refused as refused:
            show(form, refused)
        else:
            messages.success(request, "Settled." if not left else f"Saved; {len(left)} still open.")
            return redirect("settle" if left else "person", person=found.pk)
    return render(
        request,
        "case/settle.html",
        {
            "person": found,
            "form": form,
            "things": things,
            "in_care": found.state == "in_care",
            "bar": person_bar(found),
            "here": "people",
        },
        status=422 if form.errors else 200,
    )


@may("settle")
def left_open(request: ClinicRequest) -> HttpResponse:
    """Everybody of a clinic who left with something open, and devices that run on without an ulcer."""
    site = site_or_404(request.user, request)
    left = left_people(site)
    devices = list(devices_without_ulcer(limb__person__site=site))
    restricted = restricted_people([site]) if can(request.user, "person_rights") else []
    note_listed(
        request.user,
        {one.person.pk for one in (*left, *restricted)} | {device.limb.person_id for device in devices},
    )
    return render(
        request,
        "case/left_open.html",
        {"site": site, "left": left, "devices": devices, "restricted": restricted, "here": "people"},
    )
