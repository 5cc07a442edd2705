"""Judging the bone under an ulcer, and the judgements so far."""

from __future__ import annotations

from typing import cast

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from clinic.access import ClinicRequest, may, visible_or_404
from clinic.alerts.reads.results import results_of
from clinic.evidence.reads.bone_standing import bone_standing
from clinic.evidence.reads.standing import standing_of
from clinic.guidelines.bone import BoneParts, Says, propose_bone
from clinic.lesions.forms.bone import PARTS, BoneErrorForm, BoneForm
from clinic.lesions.writes import bone as writes
from clinic.models import BoneJudgement, Lesion
from clinic.people.reads.people import person_bar
from clinic.record.errors import Refused
from clinic.record.forms.refusals import show

#: Tests whose results stand beside the judgement.
BONE_TESTS = ("xray", "crp", "esr", "mri", "culture", "biopsy")


def _parts(form: BoneForm) -> BoneParts | None:
    """What the parts say so far; None while one of them is not answered."""
    answers = {name: cast(Says, form.cleaned_data.get(name)) for name in PARTS}
    return BoneParts(**answers) if all(answers.values()) else None


@may("prescribe")
def bone_new(request: ClinicRequest, lesion: int) -> HttpResponse:
    """The judgement; `Propose` works the parts out and keeps nothing."""
    found = visible_or_404(Lesion.objects.select_related("limb__person__site"), request.user, pk=lesion)
    today = timezone.localdate()
    posted = request.method == "POST"
    proposing = posted and "propose" in request.POST
    form = BoneForm(request.POST if posted else None, initial={"judged_on": today})
    valid = form.is_valid()
    parts = _parts(form) if posted else None
    if valid and parts is not None and not proposing:
        data = {name: form.cleaned_data[name] for name in ("judged_on", "state", "treated", "note")}
        try:
            writes.bone_judge(by=request.user, lesion=found, parts=parts, **data)
        except Refused as refused:
            show(form, refused)
        else:
            messages.success(request, "The judgement is kept.")
            return redirect("lesion", lesion=found.pk)
    if proposing:
        # Only the parts are looked at; what is not decided yet is no fault.
        for name in [name for name in form.errors if name not in PARTS]:
            del form.errors[name]
    return render(
        request,
        "lesions/bone/new.html",
        {
            "form": form,
            "lesion": found,
            "proposal": propose_bone(parts) if parts else None,
            "standing": bone_standing(found, standing_of(found.limb, today)),
            "results": results_of(today, lesion=found, kind__in=BONE_TESTS),
            "bar": person_bar(found.limb.person),
            "here": "people",
        },
        status=422 if form.errors else 200,
    )


@may("prescribe")
def bone_in_error(request: ClinicRequest, judgement: int) -> HttpResponse:
    rows = BoneJudgement.objects.select_related("lesion__limb__person__site", "created_by")
    found = visible_or_404(rows, request.user, pk=judgement)
    form = BoneErrorForm(request.POST or None, initial={"version": found.version})
    if request.method == "POST" and form.is_valid():
        try:
            writes.bone_in_error(
                by=request.user,
                judgement=found,
                in_error_because=form.cleaned_data["in_error_because"],
                expected_version=form.cleaned_data["version"],
            )
        except Refused as refused:
            show(form, refused)
            found.refresh_from_db()
        else:
            messages.success(request, "The judgement is marked as entered in error.")
            return redirect("lesion", lesion=found.lesion_id)
    return render(
        request,
        "lesions/bone/in_error.html",
        {
            "form": form,
            "judgement": found,
            "lesion": found.lesion,
            "bar": person_bar(found.lesion.limb.person),
            "here": "people",
        },
        status=422 if form.errors else 200,
    )
