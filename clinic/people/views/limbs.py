"""A foot: its lengths and amputation, and dated findings on it."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone

from clinic.access import ClinicRequest, may, visible_or_404
from clinic.models import Limb
from clinic.people.forms.limbs import FindingForm, LimbForm
from clinic.people.reads.limbs import both_limbs, latest_findings
from clinic.people.reads.people import person_bar
from clinic.people.views.registering import onward
from clinic.people.writes.limbs import finding_add, limb_correct
from clinic.record.errors import Conflict, Refused
from clinic.record.forms.conflict import Difference, differences
from clinic.record.forms.entries import last_words
from clinic.record.forms.refusals import show
from clinic.record.messages import message_of

FIELDS = ("foot_length_mm", "foot_breadth_mm", "amputation")
#: Feet of one person that differ by more are more often a slip of the tape (common practice, no source).
UNLIKE_FEET_MM = 20


def _limb(request: ClinicRequest, pk: int) -> Limb:
    return visible_or_404(Limb.objects.select_related("person__site"), request.user, pk=pk)


def _person_url(limb: Limb) -> str:
    return reverse("person", args=[limb.person_id])


def _compare_feet(request: ClinicRequest, limb: Limb) -> None:
    other = next((one for one in both_limbs(limb.person) if one.side != limb.side), None)
    if other is None or not (limb.foot_length_mm and other.foot_length_mm):
        return
    apart = abs(limb.foot_length_mm - other.foot_length_mm)
    if apart > UNLIKE_FEET_MM and limb.amputation == other.amputation == "none":
        messages.warning(request, message_of("feet_differ", apart=apart).text)


@may("register")
def limb_edit(request: ClinicRequest, limb: int) -> HttpResponse:
    found = _limb(request, limb)
    form = LimbForm(
        request.POST or None, initial={name: getattr(found, name) for name in (*FIELDS, "version")}
    )
    unlike: list[Difference] = []
    if request.method == "POST" and form.is_valid():
        data = form.cleaned_data
        try:
            limb_correct(
                by=request.user,
                limb=found,
                expected_version=data["version"],
                **{name: data[name] for name in FIELDS},
            )
        except Conflict as conflict:
            found = _limb(request, limb)
            unlike = differences(form, {name: getattr(found, name) for name in FIELDS}, version=found.version)
            show(form, conflict)
        except Refused as refused:
            show(form, refused)
        else:
            messages.success(request, f"{found} is recorded.")
            _compare_feet(request, found)
            return onward(request, found.person, "limb_edit", found.pk, otherwise=_person_url(found))
    other = next((one for one in both_limbs(found.person) if one.pk != found.pk), None)
    return render(
        request,
        "people/limbs/edit.html",
        {
            "form": form,
            "limb": found,
            "other": other,
            "unlike": unlike,
            "bar": person_bar(found.person),
            "here": "people",
        },
        status=422 if form.errors else 200,
    )


@may("register")
def finding_new(request: ClinicRequest, limb: int) -> HttpResponse:
    found = _limb(request, limb)
    form = FindingForm(request.POST or None, initial={"found_on": timezone.localdate()})
    for last in latest_findings([found], found.person.site)[found.pk]:
        name = "monofilament_felt" if last.name == "monofilament" else last.name
        form.fields[name].help_text = last_words(last.words, last.found_on, stale=last.stale)
    if request.method == "POST" and form.is_valid():
        try:
            finding_add(by=request.user, limb=found, **form.cleaned_data)
        except Refused as refused:
            show(form, refused)
        else:
            messages.success(request, f"The findings on the {str(found).lower()} are recorded.")
            return onward(request, found.person, "finding_new", found.pk, otherwise=_person_url(found))
    return render(
        request,
        "people/limbs/finding.html",
        {"form": form, "limb": found, "bar": person_bar(found.person), "here": "people"},
        status=422 if form.errors else 200,
    )
