"""The status of a foot on one page, to show or print at a team's meeting."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import render
from django.utils import timezone

from clinic.access import ClinicRequest, may, visible_or_404
from clinic.case.reads.foot_status import foot_status as status_of
from clinic.evidence.reads.standing import feet_standing
from clinic.models import Limb
from clinic.people.reads.people import person_bar

__all__ = ["foot_status"]


@may("see_cases")
def foot_status(request: ClinicRequest, limb: int) -> HttpResponse:
    found = visible_or_404(Limb.objects.select_related("person__site"), request.user, pk=limb)
    feet = feet_standing(found.person, timezone.localdate())
    return render(
        request,
        "case/foot_status.html",
        {
            "limb": found,
            "status": status_of(found, feet[found.pk]),
            "bar": person_bar(found.person),
            "standing_feet": feet,
            "here": "people",
        },
    )
