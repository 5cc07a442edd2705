"""The non-healing review of one ulcer: opened by the verdict, worked off, decided."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from clinic.access import ClinicRequest, may, visible_or_404
from clinic.curves.reads.healing import healing_of
from clinic.guidelines.failed_care import NOT_HEALING
from clinic.lesions.forms.non_healing import CareOutcomeForm, ItemForm, NonHealingForm
from clinic.lesions.reads.causes import cause_sheet
from clinic.lesions.reads.non_healing import care_of, item_row, reviews_of, verdict_words
from clinic.lesions.reads.operations import surgery_of
from clinic.lesions.writes import non_healing as writes
from clinic.models import ItemState, Lesion, LesionState, NonHealingItem, NonHealingReview
from clinic.people.reads.people import person_bar
from clinic.record.errors import Refused
from clinic.record.forms.refusals import show

REVIEWS = NonHealingReview.objects.select_related("lesion__limb__person__site", "created_by")
ITEMS = NonHealingItem.objects.select_related("review__lesion__limb__person__site", "owner")


@may("log_visits")
def non_healing_new(request: ClinicRequest, lesion: int) -> HttpResponse:
    found = visible_or_404(Lesion.objects.select_related("limb__person__site"), request.user, pk=lesion)
    today = timezone.localdate()
    sheet, healing = cause_sheet(found, today), healing_of(found)
    verdict = verdict_words(healing, today)
    form = NonHealingForm(request.POST or None, sheet=sheet, site=found.limb.person.site)
    if request.method == "POST" and form.is_valid():
        try:
            made = writes.review_open(
                by=request.user,
                lesion=found,
                opened_on=today,
                verdict_kind=healing.kind,
                verdict=verdict,
                items=form.items(),
            )
        except Refused as refused:
            show(form, refused)
        else:
            messages.success(request, "The review is open; what is due stands on Today on its day.")
            return redirect("non_healing", non_healing=made.pk)
    context = {
        "form": form,
        "lesion": found,
        "healing": healing,
        "verdict": verdict,
        "opens": found.state == LesionState.OPEN and healing.kind in NOT_HEALING,
        "before": reviews_of(found),
        "bar": person_bar(found.limb.person),
        "here": "people",
    }
    return render(request, "lesions/non_healing/new.html", context, status=422 if form.errors else 200)


def _page(request: ClinicRequest, found: NonHealingReview, form: Any, **more: Any) -> HttpResponse:
    today, lesion = timezone.localdate(), found.lesion
    items = list(found.items.select_related("owner"))
    context = {
        "form": form,
        "review": found,
        "lesion": lesion,
        "items": [(item, item_row(item, today) if item.state == ItemState.DUE else None) for item in items],
        "care": care_of([lesion], today)[lesion.pk],
        "talk": surgery_of(lesion, today),
        "bar": person_bar(lesion.limb.person),
        "here": "people",
        **more,
    }
    return render(request, "lesions/non_healing/detail.html", context, status=422 if form.errors else 200)


@may("see_cases")
def non_healing(request: ClinicRequest, non_healing: int) -> HttpResponse:
    found = visible_or_404(REVIEWS, request.user, pk=non_healing)
    return _page(request, found, CareOutcomeForm(initial={"version": found.version}))


@may("prescribe")
def non_healing_decide(request: ClinicRequest, non_healing: int) -> HttpResponse:
    found = visible_or_404(REVIEWS, request.user, pk=non_healing)
    form = CareOutcomeForm(request.POST or None, initial={"version": found.version})
    if request.method == "POST" and form.is_valid():
        try:
            writes.review_decide(
                by=request.user,
                review=found,
                outcome=form.cleaned_data["outcome"],
                outcome_words=form.cleaned_data["outcome_words"],
                expected_version=form.cleaned_data["version"],
            )
        except Refused as refused:
            show(form, refused)
            found.refresh_from_db()
        else:
            messages.success(request, "The review is decided.")
            return redirect("non_healing", non_healing=found.pk)
    return _page(request, found, form)


@may("log_visits")
def non_healing_item(request: ClinicRequest, item: int) -> HttpResponse:
    found = visible_or_404(ITEMS, request.user, pk=item)
    form = ItemForm(request.POST or None, initial={"version": found.version})
    if request.method == "POST" and form.is_valid():
        try:
            writes.item_close(
                by=request.user,
                item=found,
                state=form.cleaned_data["state"],
                words=form.cleaned_data["words"],
                expected_version=form.cleaned_data["version"],
            )
        except Refused as refused:
            show(form, refused)
            found.refresh_from_db()
        else:
            messages.success(request, f"{found.get_topic_display()}: {found.get_state_display().lower()}.")
            return redirect("non_healing", non_healing=found.review_id)
    context = {
        "form": form,
        "item": found,
        "row": item_row(found, timezone.localdate()),
        "lesion": found.review.lesion,
        "bar": person_bar(found.review.lesion.limb.person),
        "here": "people",
    }
    return render(request, "lesions/non_healing/item.html", context, status=422 if form.errors else 200)
