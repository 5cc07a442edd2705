"""What changed on one record, readable."""

from __future__ import annotations

from typing import Any

from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpResponse
from django.shortcuts import render

from clinic.access import ClinicRequest, can, may, visible_or_404
from clinic.case.reads.history import NOUNS, changes_of, deeds_of, readers_of
from clinic.models import Person
from clinic.people.reads.people import person_bar


@may("see_history")
def history(request: ClinicRequest, noun: str, pk: int) -> HttpResponse:
    model = NOUNS().get(noun)
    if model is None:
        raise Http404("no such noun")
    row = visible_or_404(model, request.user, pk=pk)
    person: Any = row
    for step in row.SITE_PATH.split("__")[:-1]:
        person = getattr(person, step)
    context: dict[str, Any] = {}
    if isinstance(person, Person):
        watcher = can(request.user, "person_rights")
        context = {
            "readers": readers_of(person.pk) if watcher else [],
            "watcher": watcher,
            "deeds": deeds_of(row, person),
            "person": person,
            "bar": person_bar(person),
        }
    elif not can(request.user, "audit"):
        # Foams, reasons, reports and peer rounds: what belongs to a clinic and to no person.
        raise PermissionDenied
    return render(
        request,
        "case/history/record.html",
        {
            "row": row,
            "noun": str(model._meta.verbose_name),
            "changes": changes_of(row),
            "here": "people" if context else "settings",
            **context,
        },
    )
