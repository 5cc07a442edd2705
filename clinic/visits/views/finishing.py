"""Finishing a visit that somebody else began."""

from __future__ import annotations

from dataclasses import replace

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from clinic.access import ClinicRequest, may, visible_or_404
from clinic.alerts.reads.flags import travelling_sheet
from clinic.alerts.reads.known import feet_standing, known_beside
from clinic.models import Visit
from clinic.people.reads.people import person_bar
from clinic.record.errors import Refused
from clinic.record.questions import answers_of, unanswered
from clinic.visits.forms.finishing import FinishForm
from clinic.visits.forms.visits import lesion_forms
from clinic.visits.questions import visit_questions
from clinic.visits.reads import visit_page, visit_sheet
from clinic.visits.views.visits import after_visit, all_valid, faults_of, show_on
from clinic.visits.writes.visits import visit_finish as finish

VISITS = Visit.objects.select_related("person__site", "created_by")


@may("log_visits")
def visit_finish(request: ClinicRequest, visit: int) -> HttpResponse:
    found = visible_or_404(VISITS, request.user, pk=visit)
    if not found.unfinished:
        messages.info(request, "This visit is finished; correct it where it is wrong.")
        return redirect("visit", visit=found.pk)
    page = visit_page(found)
    seen = {row.lesion_id for row in page.measurements}
    whole = visit_sheet(found.person, found.visited_on)
    sheet = replace(
        whole,
        lesions=tuple(one for one in whole.lesions if one.lesion.pk not in seen),
        last=None,
        watch=tuple(point for point in whole.watch if point.pk not in page.watched),
    )
    sent = request.method == "POST"
    form = FinishForm(request.POST if sent else None, sheet=sheet, visit=found)
    form.known_beside(known_beside(feet_standing(found.person, found.visited_on)))
    parts = lesion_forms(sheet, request.POST if sent else None, request.FILES if sent else None)
    valid = sent and all_valid(form, parts)
    questions = visit_questions(sheet, form.findings(), [one.findings() for one in parts]) if valid else []
    waits = unanswered(questions, request.POST)
    if valid and not waits:
        try:
            finish(
                by=request.user,
                visit=found,
                found=replace(form.findings(), confirmed=tuple(one.words for one in questions)),
                lesions=[part.findings() for part in parts],
                expected_version=form.cleaned_data["version"],
            )
        except Refused as refused:
            show_on(refused, form, parts)
        else:
            messages.success(request, "The visit is finished.")
            return redirect(after_visit(whole, found))
    context = {
        "form": form,
        "parts": parts,
        "sheet": sheet,
        "visit": found,
        "page": page,
        "red": travelling_sheet(found.person, whole.sealed, timezone.now()),
        "faults": faults_of(form, parts),
        "questions": questions if waits else (),
        "answers": answers_of(questions, request.POST),
        "bar": person_bar(found.person),
        "here": "today",
    }
    return render(request, "visits/finish.html", context, status=422 if waits or context["faults"] else 200)
