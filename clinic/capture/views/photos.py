"""Photos: adding one, looking at one, and the consent to take them."""

from django.contrib import messages
from django.http import FileResponse, Http404, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone

from clinic.access import ClinicRequest, may, visible_or_404
from clinic.capture.forms.photos import ConsentForm, PhotoForm
from clinic.capture.writes.photos import consent_give, consent_withdraw, photo_store, thumbnail
from clinic.models import Lesion, Person, Photo, PhotoSubject
from clinic.people.reads.people import person_bar
from clinic.people.views.registering import onward
from clinic.record.errors import Refused
from clinic.record.forms.refusals import show


@may("register")
def consent(request: ClinicRequest, person: int) -> HttpResponse:
    found = visible_or_404(Person.objects.select_related("site"), request.user, pk=person)
    standing = found.photo_consents.filter(withdrawn_on=None).first()
    form = ConsentForm(request.POST or None, initial={"on": timezone.localdate()})
    if request.method == "POST" and form.is_valid():
        day = form.cleaned_data["on"]
        try:
            if standing:
                consent_withdraw(by=request.user, person=found, withdrawn_on=day)
            else:
                consent_give(by=request.user, person=found, given_on=day)
        except Refused as refused:
            show(form, refused)
        else:
            messages.success(
                request, "Consent to photos withdrawn." if standing else "Consent to photos recorded."
            )
            person_page = reverse("person", args=[found.pk])
            return onward(request, found, "photo_consent", found.pk, otherwise=person_page)
    return render(
        request,
        "capture/photos/consent.html",
        {"form": form, "standing": standing, "bar": person_bar(found), "here": "people"},
        status=422 if form.errors else 200,
    )


@may("log_visits")
def photo_new(request: ClinicRequest, lesion: int) -> HttpResponse:
    found = visible_or_404(Lesion.objects.select_related("limb__person__site"), request.user, pk=lesion)
    person = found.limb.person
    subject = PhotoSubject.INSOLE if request.GET.get("of") == "insole" else PhotoSubject.WOUND
    sent = request.method == "POST"
    form = PhotoForm(
        request.POST if sent else None,
        request.FILES if sent else None,
        initial={"taken_on": timezone.localdate()},
    )
    if request.method == "POST" and form.is_valid():
        try:
            photo = photo_store(
                by=request.user,
                lesion=found,
                taken_on=form.cleaned_data["taken_on"],
                upload=form.cleaned_data["photo"],
                note=form.cleaned_data["note"],
                subject=subject,
            )
        except Refused as refused:
            show(form, refused)
        else:
            if request.POST.get("then") == "measure" or subject == PhotoSubject.INSOLE:
                purpose = "?for=visit" if request.GET.get("for") == "visit" else ""
                return redirect(f"{reverse('photo_scale', args=[photo.pk])}{purpose}")
            messages.success(request, "The photo is kept with this ulcer.")
            return redirect("lesion", lesion=found.pk)
    return render(
        request,
        "capture/photos/new.html",
        {
            "form": form,
            "lesion": found,
            "of_insole": subject == PhotoSubject.INSOLE,
            "for_visit": request.GET.get("for") == "visit",
            "consent": person.photo_consents.filter(withdrawn_on=None).first(),
            "bar": person_bar(person),
            "here": "people",
        },
        status=422 if form.errors else 200,
    )


@may("see_cases")
def photo_file(request: ClinicRequest, photo: int) -> HttpResponseBase:
    found = visible_or_404(Photo, request.user, pk=photo)
    try:
        opened = found.file.open("rb")
    except OSError:  # not there, or a store that does not answer: `doctor` says which
        raise Http404("the picture is not in the store") from None
    response = FileResponse(opened, content_type="image/jpeg")
    response["Content-Disposition"] = "inline"
    response["Cache-Control"] = "private, no-store"
    return response


@may("see_cases")
def photo_thumb(request: ClinicRequest, photo: int) -> HttpResponse:
    found = visible_or_404(Photo, request.user, pk=photo)
    try:
        content = thumbnail(found)
    except (Refused, OSError):
        raise Http404("the picture is not in the store") from None
    answer = HttpResponse(content, content_type="image/jpeg")
    answer["Cache-Control"] = "private, no-store"
    return answer
