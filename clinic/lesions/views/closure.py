"""Closing a lesion, confirming it healed, opening it again, ending it otherwise."""

from collections.abc import Callable
from datetime import timedelta
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from clinic.access import ClinicRequest, may, visible_or_404
from clinic.curves.reads.lesions import open_beside
from clinic.lesions.covered import covered_on, needed_by_no_other
from clinic.lesions.forms.closure import CloseForm, ConfirmForm, EndForm, ReopenForm
from clinic.lesions.writes import closure
from clinic.models import Lesion
from clinic.people.reads.people import person_bar
from clinic.record.errors import Refused
from clinic.record.forms.refusals import show

#: After a healed ulcer the foot is in the highest risk category: seen every 1–3 months (IWGDF 2023
#: prevention).
REMISSION_DAYS = 60


def _turn(
    request: ClinicRequest,
    pk: int,
    *,
    form_class: type[forms.Form],
    initial: Callable[[Lesion], dict[str, Any]],
    act: Callable[..., Lesion],
    page: str,
    done: str,
    more: Callable[[Lesion], dict[str, Any]] = lambda lesion: {},
) -> HttpResponse:
    lesion = visible_or_404(
        Lesion.objects.select_related("limb__person__site", "episode"), request.user, pk=pk
    )
    form = form_class(
        request.POST or None, initial={"version": lesion.version, **initial(lesion)}, **more(lesion)
    )
    if request.method == "POST" and form.is_valid():
        data = dict(form.cleaned_data)
        data.pop("device_stays", None)
        try:
            act(by=request.user, lesion=lesion, expected_version=data.pop("version"), **data)
        except Refused as refused:
            show(form, refused)
            lesion.refresh_from_db()
        else:
            messages.success(request, done)
            return redirect("lesion", lesion=lesion.pk)
    return render(
        request,
        f"lesions/closure/{page}.html",
        {"form": form, "lesion": lesion, "bar": person_bar(lesion.limb.person), "here": "people"},
        status=422 if form.errors else 200,
    )


@may("close_lesions")
def lesion_close(request: ClinicRequest, lesion: int) -> HttpResponse:
    return _turn(
        request,
        lesion,
        form_class=CloseForm,
        initial=lambda found: {"closed_on": covered_on(found) or timezone.localdate()},
        act=closure.lesion_close,
        page="close",
        done="Closed, to confirm. The device stays on until then.",
    )


@may("confirm_healed")
def lesion_confirm(request: ClinicRequest, lesion: int) -> HttpResponse:
    return _turn(
        request,
        lesion,
        form_class=ConfirmForm,
        initial=lambda found: {
            "confirmed_on": covered_on(found) or timezone.localdate(),
            "next_on": timezone.localdate() + timedelta(days=REMISSION_DAYS),
        },
        act=closure.lesion_confirm,
        more=lambda found: {"worn": needed_by_no_other(found)},
        page="confirm",
        done="Confirmed healed. The patient stays on the remission list.",
    )


@may("close_lesions")
def lesion_reopen(request: ClinicRequest, lesion: int) -> HttpResponse:
    return _turn(
        request,
        lesion,
        form_class=ReopenForm,
        initial=lambda found: {"reopened_on": timezone.localdate()},
        act=closure.lesion_reopen,
        page="reopen",
        done="The ulcer is open again.",
    )


@may("close_lesions")
def lesion_end(request: ClinicRequest, lesion: int) -> HttpResponse:
    return _turn(
        request,
        lesion,
        form_class=EndForm,
        initial=lambda found: {"ended_on": timezone.localdate()},
        act=closure.lesion_end,
        page="end",
        more=lambda found: {"others": open_beside(found)},
        done="The ulcer has ended; the outcome is recorded.",
    )
