"""Answering a red flag."""

from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from clinic.access import ClinicRequest, may, visible_or_404
from clinic.alerts.forms.flags import FlagAnswerForm
from clinic.alerts.reads.flags import flag_sheet
from clinic.alerts.writes.flags import flag_answer as answer
from clinic.models import RedFlag
from clinic.people.reads.people import person_bar
from clinic.record.errors import Refused
from clinic.record.forms.refusals import show
from clinic.record.views.taking_back import say_done


@may("answer_flags")
def flag_answer(request: ClinicRequest, flag: int) -> HttpResponse:
    found = visible_or_404(RedFlag.objects.select_related("person__site"), request.user, pk=flag)
    form = FlagAnswerForm(request.POST or None, initial={"version": found.version})
    if request.method == "POST" and form.is_valid():
        try:
            answer(
                by=request.user,
                flag=found,
                answer=form.cleaned_data["answer"],
                note=form.cleaned_data["answer_note"],
                under=form.cleaned_data["under"],
                until=form.cleaned_data["until"],
                expected_version=form.cleaned_data["version"],
            )
        except Refused as refused:
            show(form, refused)
        else:
            say_done(request, "The red flag is answered.", "flag_answer_take_back", found.pk)
            return redirect("person", person=found.person_id)
    return render(
        request,
        "alerts/flags/answer.html",
        {
            "form": form,
            "flag": found,
            "sheet": flag_sheet(found, timezone.now()),
            "bar": person_bar(found.person),
            "here": "today",
        },
        status=422 if form.errors else 200,
    )
