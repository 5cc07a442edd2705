"""The standing dangers of a foot: who has each, and handing one on."""

from django.core.exceptions import PermissionDenied
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from clinic.access import ClinicRequest, can, may, visible_or_404
from clinic.alerts.forms.owners import DangerOwnerForm
from clinic.alerts.reads.owners import dangers_page
from clinic.alerts.writes.owners import danger_take
from clinic.models import Limb
from clinic.people.reads.people import person_bar
from clinic.record.errors import Refused
from clinic.record.forms.refusals import show
from clinic.record.views.taking_back import say_done


@may("see_cases")
def dangers(request: ClinicRequest, limb: int) -> HttpResponse:
    found = visible_or_404(Limb.objects.select_related("person__site"), request.user, pk=limb)
    if request.method == "POST" and not can(request.user, "log_visits"):
        raise PermissionDenied
    page = dangers_page(found, timezone.localdate())
    form = DangerOwnerForm(request.POST or None, dangers=page.now)
    if request.method == "POST" and form.is_valid():
        try:
            made = danger_take(by=request.user, limb=found, **form.cleaned_data)
        except Refused as refused:
            show(form, refused)
        else:
            words = f"Recorded: {made.team} has it, next {made.next_on:%-d %b %Y}."
            say_done(request, words, "danger_take_back", made.pk)
            return redirect("dangers", limb=found.pk)
    context = {"form": form, "page": page, "limb": found, "bar": person_bar(found.person), "here": "people"}
    return render(request, "alerts/dangers.html", context, status=422 if form.errors else 200)
