"""A lesion: its page, and what happened to it."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from clinic.access import ClinicRequest, abilities, may
from clinic.case.reads.before import healed_before
from clinic.case.reads.lesions_page import lesion_page
from clinic.case.reads.waiting import offered
from clinic.curves.reads.missed import missed_days
from clinic.curves.views import chart_key, chart_switches, lesion_of
from clinic.evidence.reads.grades import grades_of
from clinic.evidence.reads.standing import feet_standing
from clinic.lesions.forms.events import EventForm
from clinic.lesions.reads.debridement import no_sharp_debridement
from clinic.lesions.writes.closure import OF_WHO_LEFT
from clinic.lesions.writes.events import event_add
from clinic.models import PersonState
from clinic.people.reads.people import person_bar
from clinic.record.errors import Refused
from clinic.record.forms.refusals import show


@may("see_cases")
def lesion(request: ClinicRequest, lesion: int) -> HttpResponse:
    found = lesion_of(request, lesion)
    today = timezone.localdate()
    feet = feet_standing(found.limb.person, today)
    page = lesion_page(found, feet[found.limb_id])
    waits = offered(page.waits, abilities(request.user))
    axis, switches = chart_switches(request)
    return render(
        request,
        "case/lesion.html",
        {
            "lesion": found,
            "page": page,
            "waits": waits,
            "next_action": next((wait for wait, mine in waits if mine), None),
            "before": healed_before(found) if found.is_open else (),
            "grades": grades_of(found.limb, [found], today, feet[found.limb_id])[found.pk]
            if found.is_open
            else (),
            "beside": [
                *({"words": "Joined by", "lesion": one} for one in found.joined.all()),
                *({"words": "Registered in error before, as", "lesion": one} for one in found.mistaken.all()),
                *({"words": "Split into", "lesion": one} for one in found.splits.all()),
            ],
            "may_come_back": found.outcome in OF_WHO_LEFT and found.limb.person.state == PersonState.IN_CARE,
            "axis": axis,
            "switches": switches,
            "chart_key": chart_key(page.healing, missed_days(found), (axis["show"], axis["scale"]))[:12],
            "bar": person_bar(found.limb.person),
            "standing_feet": feet,
            "here": "people",
        },
    )


@may("log_visits")
def event_new(request: ClinicRequest, lesion: int) -> HttpResponse:
    found = lesion_of(request, lesion)
    form = EventForm(request.POST or None, initial={"happened_on": timezone.localdate()})
    if request.method == "POST" and form.is_valid():
        try:
            event_add(by=request.user, lesion=found, **form.event())
        except Refused as refused:
            show(form, refused)
        else:
            messages.success(request, "The event stands on the curve.")
            return redirect("lesion", lesion=found.pk)
    return render(
        request,
        "lesions/event.html",
        {
            "form": form,
            "lesion": found,
            "no_sharp": no_sharp_debridement(found, timezone.localdate()),
            "bar": person_bar(found.limb.person),
            "here": "people",
        },
        status=422 if form.errors else 200,
    )
