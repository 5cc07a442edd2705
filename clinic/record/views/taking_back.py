"""One page for every entry that is taken back or corrected: what it is, why, and one button."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.html import format_html

from clinic.access import ClinicRequest
from clinic.models import ClinicalRecord
from clinic.record.errors import Refused
from clinic.record.forms.refusals import show
from clinic.record.forms.taking_back import TakeBackForm
from clinic.record.questions import Question, answers_of, unanswered

__all__ = ["entry_page", "say_done", "take_back_page"]


def say_done(request: ClinicRequest, words: str, url_name: str, pk: int) -> None:
    """Say that something is stored, with the way to take it back while it is still in mind."""
    messages.success(
        request, format_html('{} <a href="{}">Take back</a>', words, reverse(url_name, args=[pk]))
    )


def entry_page(
    request: ClinicRequest,
    *,
    form: forms.Form,
    do: Callable[[dict[str, Any]], object],
    title: str,
    lead: str,
    button: str,
    done: str,
    back: str,
    bar: object,
    other: tuple[str, str] | None = None,
    ask: Callable[[dict[str, Any]], Sequence[Question]] = lambda data: (),
    picture: tuple[str, str] | None = None,
) -> HttpResponse:
    """Do it and go back, or show the form with what was typed. `other`: the words and the address of another
    way; `ask`: what is asked once about the typed values, whose words `do` gets as `confirmed`; `picture`:
    the address of what is meant, and its words.
    """
    valid = request.method == "POST" and form.is_valid()
    questions = ask(form.cleaned_data) if valid else ()
    waits = unanswered(questions, request.POST)
    if valid and not waits:
        confirmed = {"confirmed": " ".join(one.words for one in questions)} if questions else {}
        try:
            do({**form.cleaned_data, **confirmed})
        except Refused as refused:
            show(form, refused)
        else:
            messages.success(request, done)
            return redirect(back)
    context = {
        "form": form,
        "title": title,
        "lead": lead,
        "button": button,
        "back": back,
        "other": other,
        "picture": picture,
        "bar": bar,
        "questions": questions if waits else (),
        "answers": answers_of(questions, request.POST),
        "here": "people",
    }
    return render(request, "record/take_back.html", context, status=422 if waits or form.errors else 200)


def take_back_page(
    request: ClinicRequest, row: ClinicalRecord, write: Callable[..., object], **page: Any
) -> HttpResponse:
    """`entry_page` of what is taken back or withdrawn: a reason, and the version of the row that was seen.
    `write` gets both, and who does it.
    """
    return entry_page(
        request,
        form=TakeBackForm(request.POST or None, initial={"version": row.version}),
        do=lambda data: write(by=request.user, reason=data["reason"], expected_version=data["version"]),
        **page,
    )
