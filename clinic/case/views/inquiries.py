"""The sheet "Why is it not healing?" of one lesion."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from clinic.access import ClinicRequest, may, visible_or_404
from clinic.case.forms import WhyForm
from clinic.case.reads.inquiries import why_sheet
from clinic.case.writes import inquiry_make
from clinic.curves.reads.healing import healing_of
from clinic.models import Lesion
from clinic.people.reads.people import person_bar
from clinic.record.errors import Refused
from clinic.record.forms.refusals import show


@may("log_visits")
def why_not_healing(request: ClinicRequest, lesion: int) -> HttpResponse:
    found = visible_or_404(Lesion.objects.select_related("limb__person__site"), request.user, pk=lesion)
    today = timezone.localdate()
    sheet, healing = why_sheet(found, today), healing_of(found)
    form = WhyForm(request.POST or None, sheet=sheet)
    if request.method == "POST" and form.is_valid():
        try:
            inquiry_make(
                by=request.user, lesion=found, made_on=today, verdict=healing.words, causes=form.causes()
            )
        except Refused as refused:
            show(form, refused)
        else:
            messages.success(request, "The sheet is kept; what is to do stands on the curve.")
            return redirect("lesion", lesion=found.pk)
    return render(
        request,
        "case/inquiries/sheet.html",
        {
            "form": form,
            "lesion": found,
            "sheet": sheet,
            "healing": healing,
            "bar": person_bar(found.limb.person),
            "here": "people",
        },
        status=422 if form.errors else 200,
    )
