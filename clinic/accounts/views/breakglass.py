"""Reading a record of another clinic in an emergency, and the notice of it."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpResponse, HttpResponseNotAllowed
from django.shortcuts import get_object_or_404, redirect, render

from clinic.access import ClinicRequest, may
from clinic.accounts.forms.trust import BreakGlassForm
from clinic.accounts.reads.breakglass import glasses_of
from clinic.accounts.writes.breakglass import LASTS, glass_break, glass_notice
from clinic.models import BreakGlass
from clinic.record.errors import Refused
from clinic.record.forms.refusals import show
from clinic.record.messages import message_of


@may("break_glass")
def break_glass(request: ClinicRequest) -> HttpResponse:
    form = BreakGlassForm(request.POST or None, by=request.user)
    if request.method == "POST" and form.is_valid():
        try:
            glass = glass_break(by=request.user, **form.cleaned_data)
        except Refused as refused:
            show(form, refused)
        else:
            request.session["glass"] = [*request.session.get("glass", []), glass.pk][-20:]
            messages.warning(request, message_of("glass_until", until=f"{glass.until:%H:%M}").text)
            return redirect("person", person=glass.person_id)
    return render(
        request,
        "accounts/breakglass/new.html",
        {
            "form": form,
            "minutes": int(LASTS.total_seconds() // 60),
            "open": glasses_of(request.user),
            "here": "people",
        },
        status=422 if form.errors else 200,
    )


@may("watch_glass")
def glass_noticed(request: ClinicRequest, glass: int) -> HttpResponse:
    found = get_object_or_404(BreakGlass, pk=glass, site__in=request.user.site_ids)
    if request.method != "POST":
        return HttpResponseNotAllowed(["POST"])
    glass_notice(by=request.user, glass=found)
    messages.success(request, "Noted that you have seen it.")
    return redirect("settings")
