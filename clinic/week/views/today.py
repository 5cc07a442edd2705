"""The page the day starts on, and the clinic of a day on paper."""

from datetime import date

from django.contrib import messages
from django.http import HttpResponse, HttpResponseNotAllowed
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.dateparse import parse_date

from clinic.access import (
    ClinicRequest,
    abilities,
    can,
    may,
    note_listed,
    site_or_404,
    sites_of,
    visible_or_404,
)
from clinic.models import Person
from clinic.people.reads.peer_waiting import peer_waiting
from clinic.people.reads.transfers import answers_unseen, waiting_here
from clinic.record.errors import Refused
from clinic.record.messages import message_of
from clinic.week.prints import downtime_pdf
from clinic.week.reads.answered import answered_on
from clinic.week.reads.by_person import GROUPS, people_of_today
from clinic.week.reads.downtime import downtime_pack, entered_on
from clinic.week.reads.marks import marks_of_day, marks_shown
from clinic.week.reads.preparation import expected_on
from clinic.week.reads.today import today_lists
from clinic.week.writes import mark_set, mark_take_back


@may("see_today")
def today(request: ClinicRequest) -> HttpResponse:
    site = site_or_404(request.user, request)
    signer = request.user if can(request.user, "sign_second") else None
    lists = today_lists(site, timezone.localdate(), signer=signer)
    able = {ability for ability, has in abilities(request.user).items() if has}
    groups = people_of_today(lists, answered_on(site, lists.day, able))
    context = {
        "lists": lists,
        "groups": [(key, GROUPS[key], people) for key, people in groups.items()],
        "site": site,
        "sites": sites_of(request.user),
        "transfers_waiting": waiting_here(site),
        "transfers_answered": answers_unseen(site),
        "peer_waiting": peer_waiting(site, request.user) if can(request.user, "review") else 0,
        "here": "today",
    }
    note_listed(request.user, list(groups.values()))
    return render(request, "week/today.html", context)


@may("see_today")
def day_mark(request: ClinicRequest, person: int) -> HttpResponse:
    """Set or take back a mark of a row; htmx gets the marks of the row, anybody else the page again."""
    who = visible_or_404(Person.objects.select_related("site"), request.user, pk=person)
    if request.method != "POST":
        return HttpResponseNotAllowed(["POST"])
    try:
        if "take_back" in request.POST:
            mark_take_back(by=request.user, person=who, kind=request.POST["take_back"])
        else:
            mark_set(by=request.user, person=who, kind=request.POST.get("mark", ""))
    except Refused as refused:
        if not request.htmx:
            messages.error(request, message_of("refused", words=refused.message).text)
        problem, status = refused.message, 422
    else:
        problem, status = "", 200
    if not request.htmx:
        return redirect(f"{reverse('today')}?site={who.site_id}#person-{who.pk}")
    found = marks_of_day(who.site, timezone.localdate(), who.pk)
    context = {"who": who, "marks": marks_shown(found.get(who.pk, ())), "problem": problem}
    return render(request, "week/_marks.html", context, status=status)


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
        "expected": expected_on(site, day, timezone.now(), not_booked=True),
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
