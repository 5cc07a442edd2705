"""Registering as one path: a step that was saved leads on to the next one that is still missing."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import redirect
from django.urls import reverse

from clinic.access import ClinicRequest
from clinic.models import Person
from clinic.people.reads.missing import ON_THE_PATH, next_step, registering_steps

__all__ = ["onward"]


def onward(request: ClinicRequest, person: Person, url_name: str, pk: int, *, otherwise: str) -> HttpResponse:
    """After a step: on the path the next step that is missing, or the person when it was the last; else the
    page it always led to, `otherwise`.
    """
    if ON_THE_PATH not in request.GET:
        return redirect(otherwise)
    step = next_step(registering_steps(person), url_name, pk)
    if step is None:
        return redirect("person", person=person.pk)
    return redirect(f"{reverse(step.url_name, args=[step.pk])}?{ON_THE_PATH}=yes")
