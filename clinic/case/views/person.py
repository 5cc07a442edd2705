"""A person's page: both feet, what is open, and what happened."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from clinic.access import ClinicRequest, may, visible_or_404
from clinic.case.reads.person_page import person_page
from clinic.models import Person
from clinic.people.reads.merging import merges_of
from clinic.people.reads.people import person_bar
from clinic.people.reads.transfers import asked_for


@may("see_cases")
def person(request: ClinicRequest, person: int) -> HttpResponse:
    found = visible_or_404(Person.objects.select_related("site"), request.user, pk=person)
    if found.merged_into_id:
        return redirect("person", person=found.merged_into_id)
    everything = request.GET.get("timeline") == "all"
    return render(
        request,
        "case/person.html",
        {
            "person": found,
            "page": person_page(found, today=timezone.localdate(), everything=everything),
            "bar": person_bar(found),
            "site": found.site,
            "here": "people",
            "in_care": found.state == "in_care",
            "merges": merges_of(found),
            "transfer_asked": asked_for(found),
        },
    )
