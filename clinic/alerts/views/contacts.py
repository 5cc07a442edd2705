"""Recording an attempt to reach a person."""

from django.http import HttpResponse
from django.shortcuts import redirect, render

from clinic.access import ClinicRequest, may, visible_or_404
from clinic.alerts.forms.contacts import ContactForm
from clinic.alerts.reads.contacts import contact_sheet
from clinic.alerts.writes.contacts import contact_log
from clinic.models import Person
from clinic.people.reads.people import person_bar
from clinic.record.errors import Refused
from clinic.record.forms.refusals import show
from clinic.record.views.taking_back import say_done


@may("log_visits")
def contact_new(request: ClinicRequest, person: int) -> HttpResponse:
    who = visible_or_404(Person.objects.select_related("site"), request.user, pk=person)
    form = ContactForm(request.POST if request.method == "POST" else None)
    if request.method == "POST" and form.is_valid():
        try:
            made = contact_log(by=request.user, person=who, **form.cleaned_data)
        except Refused as refused:
            show(form, refused)
        else:
            say_done(request, "The attempt is recorded.", "contact_take_back", made.pk)
            return redirect("person", person=who.pk)
    context = {"form": form, "sheet": contact_sheet(who), "bar": person_bar(who), "here": "today"}
    return render(request, "alerts/contacts/new.html", context, status=422 if form.errors else 200)
