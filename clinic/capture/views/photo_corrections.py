"""Correcting a photo's day and note, and withdrawing a photo."""

from functools import partial

from django.http import HttpResponse
from django.urls import reverse

from clinic.access import ClinicRequest, may, visible_or_404
from clinic.capture.forms.photo_corrections import PhotoCorrectionForm
from clinic.capture.writes.photo_corrections import photo_correct as correct
from clinic.capture.writes.photo_corrections import photo_withdraw as withdraw
from clinic.models import Photo
from clinic.people.reads.people import person_bar
from clinic.record.dates import day_words
from clinic.record.views.taking_back import entry_page, take_back_page


def _picture(photo: Photo) -> tuple[str, str]:
    return reverse("photo_thumb", args=[photo.pk]), f"Photo of ulcer {photo.lesion.label}"


PHOTOS = Photo.objects.standing().select_related("lesion__limb__person__site", "visit")


@may("log_visits")
def photo_correct(request: ClinicRequest, photo: int) -> HttpResponse:
    found = visible_or_404(PHOTOS, request.user, pk=photo)
    stored = {name: getattr(found, name) for name in ("taken_on", "note", "version")}
    return entry_page(
        request,
        form=PhotoCorrectionForm(request.POST or None, initial=stored),
        do=lambda data: correct(by=request.user, photo=found, expected_version=data.pop("version"), **data),
        title=f"Correct the photo of ulcer {found.lesion.label}, {day_words(found.taken_on)}",
        picture=_picture(found),
        lead="The picture itself is never changed. Is it of another patient or another ulcer, withdraw it.",
        button="Save the correction",
        done="The photo is corrected.",
        back=reverse("lesion", args=[found.lesion_id]),
        bar=person_bar(found.lesion.limb.person),
        other=("Withdraw it", reverse("photo_withdraw", args=[found.pk])),
    )


@may("log_visits")
def photo_withdraw(request: ClinicRequest, photo: int) -> HttpResponse:
    found = visible_or_404(PHOTOS, request.user, pk=photo)
    return take_back_page(
        request,
        found,
        partial(withdraw, photo=found),
        title=f"Withdraw the photo of ulcer {found.lesion.label}, {day_words(found.taken_on)}",
        picture=_picture(found),
        lead="It leaves the row of photos and is measured no more. An area traced on it is corrected "
        "at its visit.",
        button="Withdraw this photo",
        done="The photo is withdrawn.",
        back=reverse("lesion", args=[found.lesion_id]),
        bar=person_bar(found.lesion.limb.person),
    )
