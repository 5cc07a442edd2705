"""The page that takes an ulcer registered in error out of the figures."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render

from clinic.access import ClinicRequest, may, visible_or_404
from clinic.case.forms.in_error import LesionErrorForm
from clinic.case.writes import in_error
from clinic.models import TRUE_LESIONS, Lesion
from clinic.people.reads.limbs import both_limbs
from clinic.people.reads.people import person_bar
from clinic.record.errors import Refused
from clinic.record.forms.refusals import show


@may("close_lesions")
def lesion_in_error(request: ClinicRequest, lesion: int) -> HttpResponse:
    rows = Lesion.objects.select_related("limb__person__site", "episode")
    found = visible_or_404(rows, request.user, pk=lesion)
    person = found.limb.person
    others = Lesion.objects.filter(TRUE_LESIONS, limb__person=person).exclude(pk=found.pk)
    form = LesionErrorForm(
        request.POST or None,
        others=list(others.select_related("limb")),
        limbs=both_limbs(person),
        initial={"version": found.version},
    )
    if request.method == "POST" and form.is_valid():
        try:
            right = in_error.lesion_in_error(by=request.user, lesion=found, **form.answers())
        except Refused as refused:
            show(form, refused)
            found.refresh_from_db()
        else:
            messages.success(
                request, f"Ulcer {found.label} is marked as registered in error; no figure counts it."
            )
            return redirect("lesion", lesion=right.pk)
    return render(
        request,
        "case/in_error.html",
        {"form": form, "lesion": found, "bar": person_bar(person), "here": "people"},
        status=422 if form.errors else 200,
    )
