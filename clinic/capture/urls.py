"""Routes of this room."""

from django.urls import path

from clinic.capture.views import photo_corrections, photos, repeat, trace

urlpatterns = [
    path("people/<int:person>/photo-consent/", photos.consent, name="photo_consent"),
    path("lesions/<int:lesion>/photos/new/", photos.photo_new, name="photo_new"),
    path("photos/<int:photo>/file/", photos.photo_file, name="photo_file"),
    path("photos/<int:photo>/thumb/", photos.photo_thumb, name="photo_thumb"),
    path("photos/<int:photo>/correct/", photo_corrections.photo_correct, name="photo_correct"),
    path("photos/<int:photo>/withdraw/", photo_corrections.photo_withdraw, name="photo_withdraw"),
    path("photos/<int:photo>/scale/", trace.photo_scale, name="photo_scale"),
    path("photos/<int:photo>/scale/check/", trace.photo_scale_check, name="photo_scale_check"),
    path("scales/<int:scale>/picture/", trace.scale_picture, name="scale_picture"),
    path("scales/<int:scale>/trace/", trace.trace_new, name="trace_new"),
    path("scales/<int:scale>/trace/check/", trace.trace_check, name="trace_check"),
    path("lesions/<int:lesion>/outlines/", repeat.lesion_outlines, name="lesion_outlines"),
    path("repeatability/", repeat.repeatability, name="repeatability"),
    path("reference-sheet.pdf", trace.reference_sheet, name="reference_sheet"),
]
