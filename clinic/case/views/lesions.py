"""A lesion: its page, and what happened to it."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from clinic.access import ClinicRequest, may
from clinic.case.reads.before import healed_before
from clinic.case.reads.lesions_page import lesion_page
from clinic.curves.reads.missed import missed_days
from clinic.curves.views import chart_key, chart_switches, lesion_of
from clinic.evidence.reads.grades import grades_of
from clinic.lesions.forms.events import EventForm
from clinic.lesions.reads.debridement import no_sharp_debridement
from clinic.lesions.writes.events import event_add
from clinic.people.reads.people import person_bar
from clinic.record.errors import Refused
from clinic.record.forms.refusals import show


@may("see_cases")
def lesion(request: ClinicRequest, lesion: int) -> HttpResponse:
    found = lesion_of(request, lesion)
    page = lesion_page(found)
    axis, switches = chart_switches(request)
    return render(
        request,
        "case/lesion.html",
        {
            "lesion": found,
            "page": page,
            "before": healed_before(found) if found.is_open else (),
            "grades": grades_of(found.limb, [found], timezone.localdate())[found.pk] if found.is_open else (),
            "beside": [
                *({"words": "Joined by", "lesion": one} for one in found.joined.all()),
                *({"words": "Split into", "lesion": one} for one in found.splits.all()),
            ],
            "axis": axis,
            "switches": switches,
            "chart_key": chart_key(page.healing, missed_days(found), (axis["show"], axis["scale"]))[:12],
            "bar": person_bar(found.limb.person),
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
