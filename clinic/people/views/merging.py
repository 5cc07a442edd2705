"""Likely duplicates of a clinic, two records side by side, merging them and parting them again."""

from __future__ import annotations

from django import forms
from django.apps import apps
from django.contrib import messages
from django.http import HttpResponse, HttpResponseNotAllowed
from django.shortcuts import redirect, render
from django.urls import reverse

from clinic import access
from clinic.access import ClinicRequest, may, visible_or_404
from clinic.models import Merge, Person
from clinic.people.forms.merging import MergeForm, UndoForm
from clinic.people.reads.duplicates import likely_pairs, reasons_for, told_apart
from clinic.people.reads.merging import merge_preview
from clinic.people.reads.people import person_bar
from clinic.people.writes.merging import merge_undo as undo
from clinic.people.writes.merging import people_keep_apart, people_maybe_same, person_merge
from clinic.record.errors import Refused
from clinic.record.forms.refusals import show
from clinic.record.messages import message_of
from clinic.record.writes.ledger import moved_rows


def _pair(request: ClinicRequest, person: int, other: int) -> tuple[Person, Person]:
    people = Person.objects.select_related("site", "merged_into")
    return (
        visible_or_404(people, request.user, pk=person),
        visible_or_404(people, request.user, pk=other),
    )


@may("find_duplicates")
def duplicates(request: ClinicRequest) -> HttpResponse:
    site = access.site_or_404(request.user, request)
    pairs, count = likely_pairs(site)
    access.note_listed(request.user, pairs)
    return render(
        request,
        "people/merging/duplicates.html",
        {"site": site, "pairs": pairs, "count": count, "here": "people"},
    )


@may("find_duplicates")
def merge_look(request: ClinicRequest, person: int, other: int) -> HttpResponse:
    """Both records side by side, and what one record of them would say. Writes nothing."""
    kept, emptied = _pair(request, person, other)
    return _preview(request, kept, emptied, None)


def _preview(request: ClinicRequest, kept: Person, emptied: Person, form: forms.Form | None) -> HttpResponse:
    for one, two in ((kept, emptied), (emptied, kept)):
        if one.merged_into_id and one.merged_into_id == two.pk:
            return redirect("person", person=two.pk)
    if kept.pk == emptied.pk:
        return redirect("person", person=kept.pk)
    preview = merge_preview(kept, emptied)
    return render(
        request,
        "people/merging/preview.html",
        {
            "preview": preview,
            "form": form or MergeForm(initial={"mark": preview.mark}),
            "apart": told_apart(kept, emptied),
            "alike": reasons_for(kept, emptied),
            "site": kept.site,
            "here": "people",
        },
        status=422 if form is not None and form.errors else 200,
    )


@may("merge_people")
def merge_do(request: ClinicRequest, person: int, other: int) -> HttpResponse:
    kept, emptied = _pair(request, person, other)
    if request.method != "POST":
        return HttpResponseNotAllowed(["POST"])
    form = MergeForm(request.POST)
    if form.is_valid():
        try:
            person_merge(by=request.user, kept=kept, emptied=emptied, **form.cleaned_data)
        except Refused as refused:
            show(form, refused)
            # The page comes back as the records stand now: the next press is about that.
            form.data = {**request.POST.dict(), "mark": merge_preview(*_pair(request, person, other)).mark}
        else:
            messages.success(
                request,
                f"No. {emptied.record_number} went into No. {kept.record_number}; either number finds this "
                "record.",
            )
            return redirect("person", person=kept.pk)
    return _preview(request, kept, emptied, form)


@may("find_duplicates")
def people_apart(request: ClinicRequest, person: int, other: int) -> HttpResponse:
    one, two = _pair(request, person, other)
    if request.method != "POST":
        return HttpResponseNotAllowed(["POST"])
    try:
        if request.POST.get("act") == "take back":
            people_maybe_same(by=request.user, one=one, other=two)
            messages.success(request, "The two may stand on the list again.")
        else:
            people_keep_apart(by=request.user, one=one, other=two)
            messages.success(
                request, f"Noted: No. {one.record_number} and No. {two.record_number} are two patients."
            )
    except Refused as refused:
        messages.error(request, message_of("refused", words=refused.message).text)
    return redirect(f"{reverse('duplicates')}?site={one.site_id}")


@may("merge_people")
def merge_undo(request: ClinicRequest, merge: int) -> HttpResponse:
    rows = Merge.objects.select_related("kept__site", "emptied", "created_by", "undone_by")
    found = visible_or_404(rows, request.user, pk=merge)
    form = UndoForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            left = undo(by=request.user, merge=found, because=form.cleaned_data["because"])
        except Refused as refused:
            show(form, refused)
        else:
            messages.success(
                request,
                f"No. {found.emptied.record_number} is a record of its own again."
                + (f" Corrected since and left as it is: {', '.join(left)}." if left else ""),
            )
            return redirect("person", person=found.emptied_id)
    moved = {
        str(apps.get_model("clinic", noun)._meta.verbose_name): count
        for noun, count in moved_rows(found.changes).items()
    }
    return render(
        request,
        "people/merging/undo.html",
        {
            "merge": found,
            "moved": moved,
            "form": form,
            "bar": person_bar(found.kept),
            "here": "people",
        },
        status=422 if form.errors else 200,
    )
