"""People: the list with its search, a person's page, and what is registered once per person."""

from __future__ import annotations

from collections.abc import Sequence

from django import forms
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.http import urlencode

from clinic import access
from clinic.access import ClinicRequest, may, visible_or_404
from clinic.models import Person
from clinic.people.forms.people import (
    PERSON_FIELDS,
    CircumstancesForm,
    PersonEditForm,
    PersonNewForm,
    PersonStateForm,
    WeightForm,
)
from clinic.people.reads.circumstances import circumstances_card
from clinic.people.reads.left_open import open_counts
from clinic.people.reads.limbs import both_limbs, running_devices
from clinic.people.reads.people import SHOW, likely_duplicates, people_found, person_bar
from clinic.people.reads.people_list import people_page
from clinic.people.reads.transfers import handed_over_as, waiting_here
from clinic.people.views.registering import onward
from clinic.people.writes.people import (
    circumstances_add,
    person_correct,
    person_register,
    person_set_state,
    weight_add,
)
from clinic.record.errors import Conflict, Refused
from clinic.record.forms.conflict import Difference, differences
from clinic.record.forms.entries import last_words
from clinic.record.forms.refusals import show
from clinic.record.messages import message_of
from clinic.record.questions import answers_of, unanswered, weight_question
from clinic.record.sealed_words import seal, unseal


def _person(request: ClinicRequest, pk: int) -> Person:
    return visible_or_404(Person.objects.select_related("site"), request.user, pk=pk)


def _page(
    request: ClinicRequest, name: str, person: Person, form: forms.Form, **more: object
) -> HttpResponse:
    return render(
        request,
        f"people/{name}.html",
        {"form": form, "person": person, "bar": person_bar(person), "here": "people", **more},
        status=422 if form.errors or more.get("questions") else 200,
    )


@may("see_cases")
def people(request: ClinicRequest) -> HttpResponse:
    # Names and record numbers travel in the body; the address holds them unreadable.
    sent = request.POST if request.method == "POST" else request.GET
    site = access.site_named(request.user, sent.get("site", "")) or access.site_or_404(request.user, request)
    if request.method == "POST":
        q = sent.get("q", "").replace("\x00", "").strip()[:80]
    else:
        q = unseal(sent.get("search", ""))
    wanted = sent.get("show", "all")
    wanted = wanted if wanted in SHOW else "all"
    sealed = seal(q)
    query = urlencode({"search": sealed, "show": wanted, "site": str(site.pk)})
    if request.method == "POST" and not request.htmx:
        return redirect(f"{reverse('people')}?{query}")
    page = people_page(
        people_found(site, q=q, show=wanted),
        site,
        timezone.localdate(),
        before=request.GET.get("before", ""),
        after=request.GET.get("after", ""),
    )
    access.note_listed(request.user, {int(row.key) for row in page.rows})
    template = "people/list.html"
    answer = render(
        request,
        f"{template}#results" if request.htmx else template,  # type: ignore[attr-defined]
        {
            "page": page,
            "q": q,
            "sealed": sealed,
            "show": wanted,
            "shows": SHOW,
            "transfers_waiting": waiting_here(site),
            "handed_over": handed_over_as(site, q),
            "site": site,
            "here": "people",
        },
    )
    if request.method == "POST":
        answer["HX-Push-Url"] = f"{reverse('people')}?{query}"
    return answer


@may("register")
def person_new(request: ClinicRequest) -> HttpResponse:
    sites = access.sites_of(request.user)
    site = access.site_or_404(request.user, request)
    today = timezone.localdate()
    form = PersonNewForm(request.POST or None, sites=sites, initial={"site": site.pk, "measured_on": today})
    alike: Sequence[Person] = []
    if request.method == "POST" and form.is_valid():
        data = form.cleaned_data
        alike = likely_duplicates(
            request.user, **{name: data[name] for name in ("given_name", "family_name", "birth_date")}
        )
        if alike and not data["another_person"]:
            form.ask_if_another()
        else:
            try:
                made = person_register(
                    by=request.user,
                    site=next(mine for mine in sites if mine.pk == data["site"]),
                    kg=data["kg"],
                    how=data["how"],
                    measured_on=data["measured_on"],
                    **form.person(),
                )
            except Refused as refused:
                show(form, refused)
            else:
                messages.success(request, f"{made.full_name} is registered, with both feet.")
                return redirect("person", person=made.pk)
    return render(
        request,
        "people/new.html",
        {"form": form, "alike": alike, "many_sites": len(sites) > 1, "site": site, "here": "people"},
        status=422 if form.errors else 200,
    )


@may("register")
def person_edit(request: ClinicRequest, person: int) -> HttpResponse:
    found = _person(request, person)
    initial = {name: getattr(found, name) for name in (*PERSON_FIELDS, "version")}
    form = PersonEditForm(request.POST or None, initial=initial)
    unlike: list[Difference] = []
    if request.method == "POST" and form.is_valid():
        try:
            person_correct(
                by=request.user,
                person=found,
                expected_version=form.cleaned_data["version"],
                why=form.cleaned_data["why"],
                **form.person(),
            )
        except Conflict as conflict:
            found = _person(request, person)
            unlike = differences(
                form, {name: getattr(found, name) for name in PERSON_FIELDS}, version=found.version
            )
            show(form, conflict)
        except Refused as refused:
            found = _person(request, person)
            show(form, refused)
        else:
            messages.success(request, "The record is corrected.")
            return redirect("person", person=found.pk)
    return _page(request, "edit", found, form, unlike=unlike)


@may("register")
def person_state(request: ClinicRequest, person: int) -> HttpResponse:
    found = _person(request, person)
    form = PersonStateForm(
        request.POST or None,
        initial={"state": found.state, "state_on": found.state_on, "version": found.version},
    )
    unlike: list[Difference] = []
    running = list(running_devices(both_limbs(found)).values())
    if request.method == "POST" and form.is_valid():
        try:
            person_set_state(
                by=request.user,
                person=found,
                state=form.cleaned_data["state"],
                state_on=form.cleaned_data["state_on"],
                expected_version=form.cleaned_data["version"],
            )
        except Conflict as conflict:
            found = _person(request, person)
            unlike = differences(
                form, {"state": found.state, "state_on": found.state_on}, version=found.version
            )
            show(form, conflict)
        except Refused as refused:
            found = _person(request, person)
            show(form, refused)
        else:
            messages.success(request, f"{found.full_name}: {found.get_state_display().lower()}.")
            for device in running if found.state != "in_care" else ():
                side = device.limb.get_side_display().lower()
                messages.warning(request, message_of("device_runs_on", device=device, side=side).text)
            left = found.state != "in_care" and open_counts(pk=found.pk)
            return redirect("settle" if left else "person", person=found.pk)
    return _page(request, "state", found, form, unlike=unlike, running=running)


@may("register")
def weight_new(request: ClinicRequest, person: int) -> HttpResponse:
    found = _person(request, person)
    form = WeightForm(request.POST or None, initial={"measured_on": timezone.localdate()})
    valid, last, questions = (
        request.method == "POST" and form.is_valid(),
        found.weights.newest_first().first(),
        [],
    )
    if valid and last is not None:
        limit = found.site.question_weight_percent
        questions = list(weight_question("kg", last.kg, form.cleaned_data["kg"], last.measured_on, limit))
    waits = unanswered(questions, request.POST)
    if valid and not waits:
        confirmed = " ".join(one.words for one in questions)
        try:
            weight = weight_add(by=request.user, person=found, confirmed=confirmed, **form.cleaned_data)
        except Refused as refused:
            show(form, refused)
        else:
            messages.success(request, f"Weight recorded: {weight.kg} kg.")
            return redirect("person", person=found.pk)
    asked_about = {"questions": questions if waits else (), "answers": answers_of(questions, request.POST)}
    return _page(request, "weight", found, form, last=last, **asked_about)


@may("register")
def circumstances_new(request: ClinicRequest, person: int) -> HttpResponse:
    found = _person(request, person)
    form = CircumstancesForm(request.POST or None, initial={"asked_on": timezone.localdate()})
    for answer in circumstances_card(found, timezone.localdate()).answers:
        if answer.asked_on:
            form.fields[answer.name].help_text = last_words(answer.words, answer.asked_on)
    if request.method == "POST" and form.is_valid():
        try:
            circumstances_add(by=request.user, person=found, **form.cleaned_data)
        except Refused as refused:
            show(form, refused)
        else:
            messages.success(request, "Social and mobility are recorded.")
            person_page = reverse("person", args=[found.pk])
            return onward(request, found, "circumstances_new", found.pk, otherwise=person_page)
    return _page(request, "circumstances", found, form)
