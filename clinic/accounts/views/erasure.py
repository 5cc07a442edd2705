"""What the law may ask for one person's record, for a manager."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpResponse, HttpResponseNotAllowed
from django.shortcuts import redirect, render

from clinic.access import ClinicRequest, may, visible_or_404
from clinic.accounts.forms.trust import EraseForm, GroundForm
from clinic.accounts.writes.erasure import person_erase, person_export, person_lift, person_restrict
from clinic.models import Person
from clinic.people.reads.people import person_bar
from clinic.record.errors import Refused
from clinic.record.forms.refusals import show
from clinic.record.messages import message_of


@may("person_rights")
def person_rights(request: ClinicRequest, person: int) -> HttpResponse:
    found = visible_or_404(Person.objects.select_related("site"), request.user, pk=person)
    act = request.POST.get("act", "") if request.method == "POST" else ""
    restriction = GroundForm(request.POST if act == "restrict" else None, prefix="restrict")
    erasure = EraseForm(request.POST if act == "erase" else None, prefix="erase")
    form = erasure if act == "erase" else restriction
    try:
        if act == "restrict" and restriction.is_valid():
            person_restrict(by=request.user, person=found, because=restriction.cleaned_data["ground"])
            messages.success(request, "The record is restricted.")
            return redirect("person_rights", person=found.pk)
        if act == "lift":
            person_lift(by=request.user, person=found)
            messages.success(request, "The restriction is lifted.")
            return redirect("person_rights", person=found.pk)
        if act == "erase" and erasure.is_valid():
            person_erase(by=request.user, person=found, **erasure.cleaned_data)
            messages.success(request, "The record is erased.")
            return redirect("people")
    except Refused as refused:
        if form.is_bound:
            show(form, refused)
        else:
            messages.error(request, message_of("refused", words=refused.message).text)
    return render(
        request,
        "accounts/erasure/rights.html",
        {
            "person": found,
            "restriction": restriction,
            "erasure": erasure,
            "bar": person_bar(found),
            "here": "people",
        },
        status=422 if form.is_bound and form.errors else 200,
    )


@may("person_rights")
def person_copy(request: ClinicRequest, person: int) -> HttpResponse:
    """Everything kept about the person, as one file. A POST: it leaves a row in the chain."""
    found = visible_or_404(Person.objects.select_related("site"), request.user, pk=person)
    if request.method != "POST":
        return HttpResponseNotAllowed(["POST"])
    response = HttpResponse(
        person_export(by=request.user, person=found), content_type="application/json; charset=utf-8"
    )
    response["Content-Disposition"] = f'attachment; filename="record-{found.pk}.json"'
    return response
