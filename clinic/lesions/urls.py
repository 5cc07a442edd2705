"""Routes of this room."""

from django.urls import path

from clinic.lesions.views import closure, looks
from clinic.lesions.views import register as lesion_register

urlpatterns = [
    path("people/<int:person>/lesions/new/", lesion_register.lesion_new, name="lesion_new"),
    path("lesions/<int:lesion>/edit/", lesion_register.lesion_edit, name="lesion_edit"),
    path("lesions/<int:lesion>/close/", closure.lesion_close, name="lesion_close"),
    path("lesions/<int:lesion>/confirm/", closure.lesion_confirm, name="lesion_confirm"),
    path("lesions/<int:lesion>/reopen/", closure.lesion_reopen, name="lesion_reopen"),
    path("lesions/<int:lesion>/end/", closure.lesion_end, name="lesion_end"),
    path("lesions/<int:lesion>/look/", looks.look_ask, name="look_ask"),
    path("looks/<int:look>/answer/", looks.look_answer, name="look_answer"),
    path("looks/<int:look>/read/", looks.look_read, name="look_read"),
]
