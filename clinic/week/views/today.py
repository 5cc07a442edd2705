"""The page the day starts on, and the clinic of a day on paper."""

from datetime import date

from django.http import HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.dateparse import parse_date

from clinic.access import ClinicRequest, can, may, note_listed, site_or_404, sites_of, visible_or_404
from clinic.models import Person
from clinic.people.reads.transfers import waiting_here
from clinic.week.prints import downtime_pdf
from clinic.week.reads.downtime import downtime_pack, entered_on
from clinic.week.reads.preparation import expected_on
from clinic.week.reads.today import today_lists


@may("see_today")
def today(request: ClinicRequest) -> HttpResponse:
    site = site_or_404(request.user, request)
    signer = request.user if can(request.user, "sign_second") else None
    context = {
        "lists": today_lists(site, timezone.localdate(), signer=signer),
        "site": site,
        "sites": sites_of(request.user),
        "transfers_waiting": waiting_here(site),
        "here": "today",
    }
    note_listed(request.user, context["lists"])
    return render(request, "week/today.html", context)


def _day(text: str) -> date:
    try:
        return parse_date(text) or timezone.localdate()
    except ValueError:
        return timezone.localdate()


@may("see_today")
def clinic_preparation(request: ClinicRequest) -> HttpResponse:
    site = site_or_404(request.user, request)
    day = _day(request.GET.get("day", ""))
    context = {
        "expected": expected_on(site, day, timezone.now()),
        "day": day,
        "site": site,
        "here": "today",
    }
    note_listed(request.user, context["expected"])
    return render(request, "week/preparation.html", context)


@may("see_today")
def downtime(request: ClinicRequest) -> HttpResponse:
    """The downtime pack of a day as it is known now; each person in it stands in the log of reads."""
    site = site_or_404(request.user, request)
    pack = downtime_pack(site, _day(request.GET.get("day", "")), timezone.now())
    people = {one.person.pk for one in pack.expected} | {
        one.prescription.limb.person_id for one in pack.sealed
    }
    for pk in sorted(people):
        visible_or_404(Person.objects.select_related("site"), request.user, pk=pk)
    response = HttpResponse(downtime_pdf(pack), content_type="application/pdf")
    response["Content-Disposition"] = f'inline; filename="downtime-{pack.day}.pdf"'
    return response


@may("log_visits")
def paper_entry(request: ClinicRequest) -> HttpResponse:
    """Visits written on paper, entered one after another."""
    site = site_or_404(request.user, request)
    day = min(_day(request.GET.get("day", "")), timezone.localdate())
    context = {
        "rows": entered_on(site, day, timezone.now()),
        "day": day,
        "site": site,
        "here": "today",
    }
    note_listed(request.user, context["rows"])
    return render(request, "week/paper.html", context)
