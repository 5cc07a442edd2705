"""A person's page: both feet, what is open, and what happened."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from clinic.access import ClinicRequest, abilities, may, visible_or_404
from clinic.case.reads.person_page import person_page
from clinic.case.reads.waiting import offered
from clinic.models import Person
from clinic.people.reads.left_open import open_counts
from clinic.people.reads.merging import merges_of
from clinic.people.reads.people import person_bar
from clinic.people.reads.transfers import asked_for


@may("see_cases")
def person(request: ClinicRequest, person: int) -> HttpResponse:
    found = visible_or_404(Person.objects.select_related("site"), request.user, pk=person)
    if found.merged_into_id:
        return redirect("person", person=found.merged_into_id)
    everything = request.GET.get("timeline") == "all"
    page = person_page(found, today=timezone.localdate(), everything=everything)
    return render(
        request,
        "case/person.html",
        {
            "person": found,
            "page": page,
            "waits": offered(page.waits, abilities(request.user)),
            "everything": everything,
            "bar": person_bar(found),
            "site": found.site,
            "here": "people",
            "in_care": found.state == "in_care",
            "merges": merges_of(found),
            "left_open": open_counts(pk=found.pk).get(found.pk, {}) if found.state != "in_care" else {},
            "transfer_asked": asked_for(found),
        },
    )
