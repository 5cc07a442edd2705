"""Referring a person, and chasing the referral."""

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from clinic.access import ClinicRequest, can, may, visible_or_404
from clinic.alerts.forms.referrals import FollowForm, ReferralForm
from clinic.alerts.reads.referrals import referral_page
from clinic.alerts.writes.referrals import referral_follow, referral_make
from clinic.curves.reads.lesions import lesions_of
from clinic.models import OPEN_STATES, Person, Referral
from clinic.people.reads.people import person_bar
from clinic.record.errors import Refused
from clinic.record.forms.refusals import show
from clinic.record.views.taking_back import say_done


@may("log_visits")
def referral_new(request: ClinicRequest, person: int) -> HttpResponse:
    found = visible_or_404(Person.objects.select_related("site"), request.user, pk=person)
    form = ReferralForm(
        request.POST or None,
        lesions=lesions_of(found).filter(state__in=OPEN_STATES),
        initial={"made_at": timezone.localtime()},
    )
    if request.method == "POST" and form.is_valid():
        try:
            made = referral_make(by=request.user, person=found, **form.cleaned_data)  # type: ignore[arg-type]
        except Refused as refused:
            show(form, refused)
        else:
            messages.success(request, f"Referral recorded: {made.get_to_display()}.")
            return redirect("referral", referral=made.pk)
    return render(
        request,
        "alerts/referrals/new.html",
        {"form": form, "person": found, "bar": person_bar(found), "here": "people"},
        status=422 if form.errors else 200,
    )


@may("see_cases")
def referral(request: ClinicRequest, referral: int) -> HttpResponse:
    found = visible_or_404(
        Referral.objects.select_related("person__site", "lesion__limb", "created_by"),
        request.user,
        pk=referral,
    )
    if request.method == "POST" and not can(request.user, "log_visits"):
        raise PermissionDenied
    initial = {name: getattr(found, name) for name in FollowForm.base_fields}
    form = FollowForm(request.POST or None, initial=initial)
    if request.method == "POST" and form.is_valid():
        data = dict(form.cleaned_data)
        try:
            referral_follow(
                by=request.user,  # type: ignore[arg-type]
                referral=found,
                expected_version=data.pop("version"),
                **data,
            )
        except Refused as refused:
            show(form, refused)
            found.refresh_from_db()
        else:
            say_done(request, "The referral is up to date.", "referral_follow_take_back", found.pk)
            return redirect("referral", referral=found.pk)
    return render(
        request,
        "alerts/referrals/detail.html",
        {
            "form": form,
            "referral": found,
            "page": referral_page(found),
            "bar": person_bar(found.person),
            "here": "people",
        },
        status=422 if form.errors else 200,
    )
